package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping/fhir"
	"enbloc/mapping/graph"
	"enbloc/server/delivery"
)

// sendFlags are where a single case goes, and how.
type sendFlags struct {
	mappingFlags
	credentialFlags
	to, serves             string
	rung                   int
	logicalPatient, asJSON bool
}

func newSend(s Streams) *cobra.Command {
	var with []string
	var flags sendFlags
	c := &cobra.Command{
		Use:     "send FILE --to URL",
		GroupID: onFile,
		Short:   "Send a report to a FHIR server, without a service",
		Long: `Check, assess and map the report, write it to a FHIR R4 server and read it back.
Sending the same again changes nothing: every resource is found by its key, and
only what differs is updated, under its version.

The key is the site's identity key, in the data folder by default; it is made on
first use. Keep it: with another key every record would be written again.

Use the service for daily work: it keeps trying, keeps order, and remembers what
it wrote. A single send overwrites changes that others made to its own resources.`,
		Example: `  enbloc send report.json --to http://127.0.0.1:8080/fhir
  enbloc send report.json --with histology.json --to https://fhir.hospital.example/r4 --target-token-file token`,
		Args: exactly(1, "one FILE, or - for standard input"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := fromEnv(c, s.env); err != nil {
				return err
			}
			target, err := s.sendTarget(c.Context(), flags)
			if err != nil {
				return err
			}
			g, err := s.graphToSend(args[0], with, &flags.mappingFlags)
			if err != nil {
				return err
			}
			return s.deliver(c, target, g, flags)
		},
	}
	withFlag(c, &with)
	flags.mappingFlags.add(c)
	c.Flags().StringVar(&flags.to, "to", "", "FHIR base `URL` of the server (required)")
	c.Flags().StringVar(&flags.data, "data", service.DefaultData, "`DIR` of the identity key")
	flags.credentialFlags.add(c)
	writingFlags(c, &flags.rung, &flags.logicalPatient)
	servesFlag(c, &flags.serves)
	c.Flags().BoolVar(&flags.asJSON, "json", false, "print JSON for machines: what happened to each resource")
	return c
}

// writingFlags are the flags about writing to a FHIR server that send and serve
// share.
func writingFlags(c *cobra.Command, rung *int, logical *bool) {
	c.Flags().IntVar(rung, "rung", 0, "how to write, `1 to 6`, as enbloc preflight says (default that of the last preflight kept, else 2)")
	c.Flags().BoolVar(logical, "logical-patient", false, "deliver even when the server does not know the patient")
}

// servesFlag is the guard between test data and patients.
func servesFlag(c *cobra.Command, serves *string) {
	c.Flags().StringVar(serves, "target-serves", "", "`patients|test`: test data goes to a test target only, patients' to no other (default test for a practice receiver, else patients)")
}

func (s Streams) sendTarget(ctx context.Context, f sendFlags) (delivery.Target, error) {
	if f.to == "" {
		return delivery.Target{}, usagef("send needs --to URL, the base of a FHIR server\nSee: enbloc send --help")
	}
	config := service.Config{Serves: f.serves, Target: f.to, Rung: f.rung, LogicalPatient: f.logicalPatient, VerifyAll: true}
	if err := s.credentials(&config, f.credentialFlags); err != nil {
		return delivery.Target{}, err
	}
	target, err := config.DeliveryTarget(ctx, version())
	// There is no lasting ledger here, so what stands under our keys is taken
	// over from the server itself.
	target.Adopt = true
	return target, err
}

func (s Streams) graphToSend(file string, with []string, f *mappingFlags) (graph.Graph, error) {
	c, err := s.sound(file, with)
	if err != nil {
		return graph.Graph{}, err
	}
	key, err := s.siteKey(f)
	if err != nil {
		return graph.Graph{}, err
	}
	pipeline, err := f.pipeline(key)
	if err != nil {
		return graph.Graph{}, err
	}
	g, err := pipeline.Map(c.rep, len(c.documents))
	if err != nil {
		return graph.Graph{}, &exitError{HasErrors, fmt.Errorf("%s cannot be mapped: %w", c.documents[0].name, err)}
	}
	return g, nil
}

func (s Streams) deliver(c *cobra.Command, target delivery.Target, g graph.Graph, f sendFlags) error {
	s.progress("sending %d resources to %s …", len(g.Resources), target.Client.BaseURL())
	target.Fixed = true // whoever sends by hand is told, and chooses
	engine := delivery.NewEngine(target, delivery.EngineOptions{Void: fhir.Void})
	result, err := engine.Deliver(c.Context(), g)
	s.progressDone()
	if err != nil {
		return targetFailed(told(target, err))
	}
	if f.asJSON {
		return s.printJSON(result)
	}
	return s.showDelivery(target, result)
}

// told is a failure in the words made for people.
func told(target delivery.Target, err error) error {
	var failure *delivery.Failure
	if !errors.As(err, &failure) {
		return fmt.Errorf("sending to %s: %w", target.Client.BaseURL(), err)
	}
	text := fmt.Sprintf("not delivered to %s (%s): %s", target.Client.BaseURL(), failure.Reason, failure.Reason.Sentence())
	if failure.Status != 0 {
		text += fmt.Sprintf("\nIt answered %d to request %s.", failure.Status, failure.RequestID)
	}
	for _, p := range failure.Problems {
		text += "\n- " + strings.Join(strings.Fields(p.Role+" "+p.Path+": "+p.Severity+" "+p.Code+" "+p.Hint), " ")
	}
	for _, d := range failure.Conflicts {
		text += fmt.Sprintf("\n- %s %s: %s", d.Role, d.Path, d.Kind)
	}
	return errors.New(text)
}

// showDelivery counts what happened by type, then lists what reads back
// otherwise than it was sent.
func (s Streams) showDelivery(target delivery.Target, r delivery.Result) error {
	p := s.page()
	p.Title("Delivered to " + target.Client.BaseURL())
	p.Gap()
	titles := []string{"Type"}
	for _, e := range delivery.Effects() {
		titles = append(titles, string(e))
	}
	p.Table(0, append(titles, "read back"), effectRows(r))
	p.Gap()
	alarms := r.Alarms()
	if len(alarms) == 0 {
		p.Text(0, "Read back equal.")
	}
	for _, d := range alarms {
		p.Item(0, 9, "WARNING", fmt.Sprintf("%s: %s is %s on the server", d.Role, d.Path, d.Kind))
	}
	if err := writing(p.Err()); err != nil || len(alarms) == 0 {
		return err
	}
	return targetFailed(fmt.Errorf("the server keeps the record otherwise than it was sent, in %d places", len(alarms)))
}

// effectRows has one row for each type in the order of the result, then a sum.
func effectRows(r delivery.Result) [][]string {
	effects := delivery.Effects()
	var types []string
	counts := map[string][]int{}
	count := func(kind string, i delivery.Item) {
		if counts[kind] == nil {
			counts[kind] = make([]int, len(effects)+1)
			types = append(types, kind)
		}
		for e := range effects {
			if i.Effect == effects[e] {
				counts[kind][e]++
			}
		}
		if i.Verified {
			counts[kind][len(effects)]++
		}
	}
	for _, i := range r.Items {
		count(i.Type, i)
	}
	for _, i := range r.Items {
		count("all", i)
	}
	rows := make([][]string, len(types))
	for i, kind := range types {
		rows[i] = []string{kind}
		for _, n := range counts[kind] {
			rows[i] = append(rows[i], strconv.Itoa(n))
		}
	}
	return rows
}
