package cli

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"enbloc/cmd/enbloc/internal/service"
	"enbloc/mapping"
	"enbloc/mapping/fhir"
	"enbloc/server/bulk"
)

type registryExportFlags struct {
	stockFlags
	recipient, out, since, baseURL string
	testData, json                 bool
}

func newRegistryExport(s Streams) *cobra.Command {
	var f registryExportFlags
	c := &cobra.Command{
		Use:   "export --recipient FILE --out DIR",
		Short: "Write the stored cases for a registry as files (FHIR Bulk Data NDJSON)",
		Long: `Write the cases of the store for a registry, as FHIR Bulk Data Access describes it: one
NDJSON file for each resource type, manifest.json, and deleted.ndjson with Bundles
of what must not stand there any more: cases that were withdrawn and cases of
patients who do not agree. May run beside the service.

Everything passes the recipient's allow-list, and the recipient's "consent" is asked
for every case; when it cannot be asked, nothing is written.

With --since only cases that have changed since are written; give the
transactionTime of the manifest before. Who objects is listed as deleted in every
export; who agrees again comes with the next whole export. The same store gives the
same bytes again.`,
		Example: `  enbloc registry export --recipient national.json --out national
  enbloc registry export --recipient national.json --out national-2 --since 2026-03-10T12:00:00.000000Z`,
		Args: none,
		RunE: func(c *cobra.Command, _ []string) error { return s.registryExport(c, &f) },
	}
	fl := c.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.recipient, "recipient", "", "settings `FILE` of the recipient (needed)")
	fl.StringVar(&f.out, "out", "", "`DIR` to write into (needed)")
	fl.StringVar(&f.since, "since", "", "only cases that have changed since this `TIME`, or this day (UTC)")
	fl.StringVar(&f.baseURL, "base-url", "", "`URL` before the names of files in the manifest (default none: beside it)")
	fl.BoolVar(&f.testData, "test-data", false, "write the cases that are labelled as test data, and no others")
	fl.BoolVar(&f.json, "json", false, "print what was written as JSON")
	f.add(c)
	fl.BoolVar(&f.LicensedSNOMED, "licensed-snomed", false, "the site holds a SNOMED CT licence")
	codesFlag(c, &f.CodesFile)
	return c
}

func (s Streams) registryExport(c *cobra.Command, f *registryExportFlags) error {
	if f.out == "" || f.recipient == "" {
		return usagef("say for whom and where to write: --recipient FILE --out DIR")
	}
	recipient, err := s.recipient(f.recipient)
	if err != nil {
		return err
	}
	if recipient.Consent == nil {
		return usagef(`the recipient %s has no "consent": say who is asked before a case is sent`, recipient.Name)
	}
	since, err := moment("since", f.since)
	if err != nil {
		return err
	}
	codes, err := service.LoadCodes(f.CodesFile)
	if err != nil {
		return usagef("%w", err)
	}
	stock, err := f.open(s, c)
	if err != nil {
		return err
	}
	pipeline := mapping.Pipeline{Book: stock.Book, FHIR: fhir.Options{Key: stock.Key, Tenant: stock.Tenant, SoftwareVersion: version(), Licensed: f.LicensedSNOMED, Site: codes}}
	summary, err := bulk.Run(c.Context(), bulk.Options{Store: stock.Store, Pipeline: pipeline, Recipient: recipient.Pseudo, Consent: recipient.Consent,
		Tenant: stock.Tenant, Since: since, Dir: f.out, BaseURL: f.baseURL, TestData: f.testData,
		Progress: func(n int) { s.progress("%d cases", n) }})
	s.progressDone()
	if err = errors.Join(err, stock.Store.Close()); err != nil {
		return usagef("%w", err)
	}
	if f.json {
		return s.printJSON(summary)
	}
	return s.printBulk(f, summary)
}

// moment reads a day or an instant of the command line; "" is the zero time.
func moment(flag, value string) (time.Time, error) {
	if !strings.Contains(value, "T") {
		return date(flag, value)
	}
	at, err := time.Parse(time.RFC3339Nano, value)
	if err != nil {
		return at, usagef("--%s %q is neither a day such as 2026-03-10 nor a time such as 2026-03-10T12:00:00Z", flag, value)
	}
	return at, nil
}

func (s Streams) printBulk(f *registryExportFlags, summary bulk.Summary) error {
	total := 0
	for _, n := range summary.Resources {
		total += n
	}
	p := s.page()
	p.Text(0, fmt.Sprintf("Wrote %d cases, %d resources, to %s", summary.Cases, total, f.out))
	p.Text(2, fmt.Sprintf("To be deleted: %d resources of %d withdrawn cases, %d cases of patients who do not agree, and of former states", summary.Deleted, summary.Withdrawn, summary.Withheld))
	if summary.OtherAudience > 0 {
		kind := "are test data (--test-data writes them alone)"
		if f.testData {
			kind = "are no test data"
		}
		p.Text(2, fmt.Sprintf("Left out: %d cases that %s", summary.OtherAudience, kind))
	}
	if summary.Failed > 0 {
		p.Text(2, fmt.Sprintf("Not as they should be: %d cases; see error.ndjson", summary.Failed))
	}
	p.Text(2, "For the next time: --since "+summary.TransactionTime.UTC().Format("2006-01-02T15:04:05.000000Z"))
	return writing(p.Err())
}
