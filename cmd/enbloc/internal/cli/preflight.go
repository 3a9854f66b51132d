package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping"
	"enbloc/mapping/dress"
	"enbloc/server/preflight"
	"enbloc/server/store"
)

// preflightFlags say how a target is reached, what may be written, and where the
// result goes.
type preflightFlags struct {
	credentialFlags
	name                        string
	serves, patient             string
	write, keep                 bool
	cases, maxEntries           int
	dress                       string
	mapping                     mappingFlags
	json, html, junit, baseline string
	data, store                 string
}

func newPreflight(s Streams) *cobra.Command {
	var f preflightFlags
	c := &cobra.Command{
		Use:     "preflight TARGET-URL",
		GroupID: running,
		Short:   "Find out what a FHIR server can really do, before the first patient",
		Long: `Check a FHIR R4 server: the way to it, what it claims, and, where allowed, what it
does with invented resources that are labelled HTEST and taken back at the end. Last
it delivers whole invented cases, takes each back, and names what is refused by
type, element and field of the report; a server that does not delete is asked by
$validate instead. It ends with the rung by which enbloc can write there, what is lost at that rung,
and what to ask the vendor for.

A target serves patients unless --target-serves test is given or it is a practice
receiver. A target that serves patients is only read, unless --write allows the
invented resources there too; what cannot be deleted is listed.

With --keep the result goes into the store of the service, which writes by that
rung from its next start, and holds against it what serve --preflight-every finds.
A result by which nothing can be delivered is not kept; one that only read leaves a
rung that writing has proven as it is.

Exit code 0 when the server can be delivered to, 3 when it cannot or not one of the
invented cases can, 4 when it can and is not as in the report of --baseline.`,
		Example: `  enbloc preflight http://127.0.0.1:8701/fhir
  enbloc preflight https://fhir-test.hospital.example/r4 --target-serves test --html preflight.html
  enbloc preflight https://fhir.hospital.example/r4 --target-token-file token --baseline last.json --json now.json`,
		Args: exactly(1, "one TARGET-URL, the base of a FHIR server"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			return s.preflight(c.Context(), args[0], f)
		},
	}
	fl := c.Flags()
	fl.SortFlags = false
	f.add(c)
	fl.StringVar(&f.name, "target-name", "", "`NAME` of the target in the ledger (default made of its URL)")
	servesFlag(c, &f.serves)
	fl.BoolVar(&f.write, "write", false, "allow invented resources on a target that serves patients")
	fl.StringVar(&f.patient, "test-patient", "", "`SYSTEM|VALUE` of an invented patient that the server should find")
	fl.IntVar(&f.cases, "cases", preflight.DefaultCases, "how many whole invented cases `N` are delivered and taken back; 0 for none")
	fl.StringVar(&f.dress, "target-dress", "", "`NAME` of the way these cases are dressed, as for serve: "+dressNames()+" (default base)")
	fl.IntVar(&f.maxEntries, "target-max-entries", 0, "most entries `N` of one transaction of theirs, as for serve (default what the server takes)")
	fl.BoolVar(&f.mapping.licensed, "licensed-snomed", false, "the site holds a SNOMED CT licence")
	codesFlag(c, &f.mapping.codes)
	profilesFlag(c, &f.mapping.noProfiles)
	fl.StringVar(&f.html, "html", "", "`FILE` for the page for people")
	fl.StringVar(&f.json, "json", "", "`FILE` for the report as JSON, - for standard output")
	fl.StringVar(&f.junit, "junit", "", "`FILE` for the checks as JUnit XML")
	fl.StringVar(&f.baseline, "baseline", "", "`FILE` of an earlier JSON report, to be told what has changed")
	fl.BoolVar(&f.keep, "keep", false, "keep the result in the store of the service")
	fl.StringVar(&f.data, "data", service.DefaultData, "`DIR` of the store, for --keep")
	fl.StringVar(&f.store, "store", "", "`PATH|URL` of the store, for --keep (default enbloc.db in the data folder)")
	return c
}

func (s Streams) preflight(ctx context.Context, url string, f preflightFlags) error {
	before, err := f.before()
	if err != nil {
		return err
	}
	p, err := s.runPreflight(ctx, url, f)
	if err != nil {
		return err
	}
	var kept *preflight.Report
	var notKept error
	if f.keep {
		if p, kept, notKept = f.keepIt(ctx, p); notKept != nil && p.Usable {
			return notKept
		}
	}
	if before != nil {
		p.Drift = preflight.Drift(*before, p)
	}
	if err := s.writePreflight(p, f); err != nil {
		return err
	}
	if f.json != "-" {
		if err := s.showPreflight(p, kept); err != nil {
			return err
		}
	}
	switch {
	case !p.Usable:
		return &exitError{TargetFailed, notKept}
	case before != nil && len(p.Drift) > 0:
		return &exitError{code: Changed}
	}
	return nil
}

// before is the report of --baseline; nil without one.
func (f preflightFlags) before() (*preflight.Report, error) {
	if f.baseline == "" {
		return nil, nil
	}
	raw, err := os.ReadFile(filepath.Clean(f.baseline))
	if err != nil {
		return nil, usagef("reading baseline: %w", err)
	}
	var p preflight.Report
	if err := json.Unmarshal(raw, &p); err != nil || p.Format != preflight.Format {
		return nil, usagef("%s is no preflight report of format %d: write one with --json", f.baseline, preflight.Format)
	}
	return &p, nil
}

func (s Streams) runPreflight(ctx context.Context, url string, f preflightFlags) (preflight.Report, error) {
	config := service.Config{Target: url, TargetName: f.name, Serves: f.serves}
	if err := s.credentials(&config, f.credentialFlags); err != nil {
		return preflight.Report{}, err
	}
	pipeline, err := f.pipeline()
	if err != nil {
		return preflight.Report{}, err
	}
	target, err := config.DeliveryTarget(ctx, version())
	if err != nil {
		return preflight.Report{}, usagef("%w", err)
	}
	p, err := preflight.Run(ctx, preflight.Options{Client: target.Client, Name: target.Name, Write: f.write || target.Serves == "test",
		Cases: f.cases, Pipeline: pipeline, MaxEntries: f.maxEntries, TestPatient: f.patient, Progress: func(group string) { s.progress("%s …", group) }})
	s.progressDone()
	if err == nil && ctx.Err() != nil {
		err = errors.New("interrupted: what was written has been taken back as far as possible")
	}
	if err != nil {
		return preflight.Report{}, targetFailed(fmt.Errorf("checking %s: %w", url, err))
	}
	return p, nil
}

// pipeline maps the invented cases; the key is put in by the preflight.
func (f preflightFlags) pipeline() (*mapping.Pipeline, error) {
	p, err := f.mapping.pipeline(nil)
	if err == nil {
		p.Dress, err = dress.Named(f.dress)
	}
	if err != nil {
		return nil, usagef("%w", err)
	}
	return &p, nil
}

// keepIt returns the report with what has changed, and what stands in the store now.
func (f preflightFlags) keepIt(ctx context.Context, p preflight.Report) (preflight.Report, *preflight.Report, error) {
	path := f.store
	if path == "" {
		path = filepath.Join(f.data, "enbloc.db")
	}
	if err := os.MkdirAll(f.data, 0o700); err != nil {
		return p, nil, usagef("making data folder: %w", err)
	}
	st, err := store.Open(ctx, path)
	if err != nil {
		return p, nil, fmt.Errorf("opening the store: %w", err)
	}
	var kept preflight.Report
	if p, err = service.KeepPreflight(ctx, st, p); err == nil {
		kept, _, err = service.Kept(ctx, st, p.Name)
	}
	if err = errors.Join(err, st.Close()); err != nil {
		return p, nil, err
	}
	return p, &kept, nil
}

// writePreflight writes the files that were asked for.
func (s Streams) writePreflight(p preflight.Report, f preflightFlags) error {
	var page, junit bytes.Buffer
	if err := errors.Join(p.WriteHTML(&page), p.WriteJUnit(&junit)); err != nil {
		return err
	}
	raw, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return fmt.Errorf("writing report: %w", err)
	}
	for _, one := range []struct {
		path string
		body []byte
	}{{f.html, page.Bytes()}, {f.json, append(raw, '\n')}, {f.junit, junit.Bytes()}} {
		switch one.path {
		case "":
		case "-":
			if _, err := s.Out.Write(one.body); err != nil {
				return writing(err)
			}
		default:
			if err := os.WriteFile(filepath.Clean(one.path), one.body, fs.FileMode(0o644)); err != nil {
				return usagef("writing file: %w", err)
			}
		}
	}
	return nil
}

// showPreflight is the short form: what is not good, the rung, the losses.
func (s Streams) showPreflight(p preflight.Report, kept *preflight.Report) error {
	n := p.Counts()
	page := s.page()
	page.Title("Preflight of " + p.Target)
	page.Gap()
	const label = 10
	for _, c := range p.Checks {
		if c.Status == preflight.Fail || c.Status == preflight.Warn || c.Status == preflight.Skip {
			page.Item(0, label, strings.ToUpper(string(c.Status)), strings.TrimSpace(c.Title+": "+c.Found+" "+c.Remedy))
		}
	}
	page.Item(0, label, "Checks", fmt.Sprintf("%d good, %d to watch, %d failing, %d not tried, %d notes", n.Pass, n.Warn, n.Fail, n.Skip, n.Info))
	page.Item(0, label, "Rung", fmt.Sprintf("%d, %s. %s", p.Rung.Number, p.Rung.Title, p.Why))
	for _, c := range p.Checks {
		if c.ID == "cases" && c.Status == preflight.Pass {
			page.Item(0, label, "Cases", c.Found)
		}
	}
	for _, l := range p.Lost {
		page.Item(0, label, "Lost", l)
	}
	for _, a := range p.Ask {
		page.Item(0, label, "Ask for", a)
	}
	for _, d := range p.Drift {
		page.Item(0, label, "CHANGED", fmt.Sprintf("%s was %s, is %s", d.What, or(d.Was, "nothing"), or(d.Is, "nothing")))
	}
	for _, l := range p.Leftovers {
		page.Item(0, label, "Left", l.Type+"/"+l.ID)
	}
	if kept != nil {
		page.Item(0, label, "Kept", keptText(p, *kept))
	}
	page.Gap()
	page.Text(0, p.Sentence)
	return writing(page.Err())
}

// keptText says by which rung the service writes from its next start, and why.
func keptText(p, kept preflight.Report) string {
	text := fmt.Sprintf("The service writes by rung %d from its next start, unless it is set otherwise", kept.Rung.Number)
	switch {
	case !kept.Proven:
		return text + ": so the server claims, and nothing was written to prove it."
	case p.Run != kept.Run:
		return text + fmt.Sprintf(": so writing has proven on %s. This run wrote nothing, so only what it read is kept; --write proves the rung anew.",
			kept.Started.Local().Format(time.DateOnly))
	}
	return text + ": so writing has proven."
}

func or(text, other string) string {
	if text == "" {
		return other
	}
	return text
}
