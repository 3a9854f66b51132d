// Package bulk writes the cases of the store for a recipient as files, in the
// form of FHIR Bulk Data Access (https://hl7.org/fhir/uv/bulkdata/): NDJSON with
// one file for each resource type, a manifest, and Bundles of what has to be
// deleted.
//
// It promises that everything passes the recipient's allow-list and the question
// for consent; that an export is there whole or not at all; that the same store
// gives the same bytes again; and that memory does not grow with the number of
// cases. Cases come in the order of their keys, which says nothing about when
// they happened.
package bulk

import (
	"context"
	"errors"
	"fmt"
	"time"

	"enbloc/mapping"
	"enbloc/mapping/graph"
	"enbloc/mapping/pseudo"
	"enbloc/mapping/report"
	"enbloc/server/consent"
	"enbloc/server/fault"
	"enbloc/server/intake"
	"enbloc/server/store"
)

// Options say what to write where.
type Options struct {
	Store     *store.Store
	Pipeline  mapping.Pipeline
	Recipient *pseudo.Recipient
	Consent   consent.Source
	Tenant    string
	// Since leaves out live cases that have not changed since; zero leaves out
	// none. What must not stand at the recipient any more is listed either way.
	Since time.Time
	// Dir is the folder; it is made when it is not there.
	Dir string
	// BaseURL stands before the names of files in the manifest; empty for names
	// that count from the manifest's own place.
	BaseURL string
	// TestData exports cases that are labelled as test data, and no others; without
	// it all others.
	TestData bool
	// Progress is told how many cases are read; nil is fine.
	Progress func(cases int)
}

// Summary says what was written.
type Summary struct {
	// Cases are those whose resources are in the files; Withheld those whose
	// patients do not agree, and Withdrawn those that were withdrawn: of both the
	// resources are listed as deleted.
	Cases     int `json:"cases"`
	Withheld  int `json:"withheld"`
	Withdrawn int `json:"withdrawn"`
	// OtherAudience are cases left out because they are test data, or are not.
	OtherAudience int `json:"other_audience"`
	// Failed are cases that could not be written; the files say which.
	Failed int `json:"failed"`
	// Resources counts the lines of the files, by type.
	Resources map[string]int `json:"resources"`
	// Deleted counts the resources listed as deleted.
	Deleted int `json:"deleted"`
	// TransactionTime is what to give as Since the next time.
	TransactionTime time.Time `json:"transaction_time"`
}

// pageCases is how many cases are held at a time.
const pageCases = 100

// Run writes the export. After an error what was in the folder before stays.
func Run(ctx context.Context, o Options) (Summary, error) {
	if o.Store == nil || o.Recipient == nil || o.Consent == nil {
		return Summary{}, errors.New("checking export: store, recipient and consent are required")
	}
	if list, ok := o.Consent.(consent.File); ok {
		var err error // once for all cases: they are all of one moment
		if o.Consent, err = list.Snapshot(); err != nil {
			return Summary{}, err
		}
	}
	r := run{Options: o, summary: Summary{Resources: map[string]int{}}}
	var err error
	// What changes from here on comes with the next export.
	if r.summary.TransactionTime, err = o.Store.LastChange(ctx, o.Tenant); err != nil {
		return Summary{}, err
	}
	if r.files, err = newFiles(o.Dir); err != nil {
		return Summary{}, err
	}
	if err := r.cases(ctx); err != nil {
		return Summary{}, errors.Join(err, r.files.abandon())
	}
	return r.summary, r.files.publish(r.manifest())
}

type run struct {
	Options
	files   *files
	summary Summary
}

func (r *run) cases(ctx context.Context) error {
	read := 0
	for after := ""; ; {
		cases, err := r.Store.CasesByKey(ctx, r.Tenant, after, pageCases)
		if err != nil || len(cases) == 0 {
			return err
		}
		var keys []string
		for _, c := range cases {
			keys = append(keys, c.Key)
		}
		standing, err := r.Store.Standing(ctx, keys)
		if err != nil {
			return err
		}
		for _, c := range cases {
			after = c.Key
			if c.Updated.After(r.summary.TransactionTime) {
				continue // changed while the export runs
			}
			if err := r.one(ctx, c, standing[c.Key]); err != nil {
				return err
			}
		}
		if read += len(cases); r.Progress != nil {
			r.Progress(read)
		}
	}
}

// one writes a case, or what has to be deleted of it.
func (r *run) one(ctx context.Context, c store.Case, documents []store.Document) error {
	merged, err := intake.Join(documents)
	switch {
	case err != nil:
		return r.fail(c, "its documents cannot be read")
	case merged.TestData != r.TestData:
		r.summary.OtherAudience++
		return nil
	case merged.Status == report.Withdrawn:
		r.summary.Withdrawn++
		return r.deleteAll(ctx, c, documents)
	}
	allowed, err := r.Consent.Allows(ctx, merged.Patient.Identifier)
	if err != nil {
		return err
	}
	if !allowed {
		r.summary.Withheld++
		return r.deleteAll(ctx, c, documents)
	}
	if !r.Since.IsZero() && c.Updated.Before(r.Since) {
		return nil
	}
	g, err := r.render(documents, c.Sequence)
	if err != nil {
		return r.fail(c, "it cannot be mapped")
	}
	r.summary.Cases++
	present := map[string]bool{}
	for _, l := range r.Recipient.Lines(g) {
		present[l.Type+"/"+l.ID] = true
		r.summary.Resources[l.Type]++
		if err := r.files.write(l.Type, l.JSON); err != nil {
			return err
		}
	}
	if r.Since.IsZero() {
		return nil // a whole export takes the place of what was there
	}
	return r.deleteFormer(ctx, c, present)
}

func (r *run) render(documents []store.Document, sequence int) (graph.Graph, error) {
	_, g, err := intake.Mapped(r.Pipeline, documents, sequence)
	if err != nil {
		return graph.Graph{}, err
	}
	return r.Recipient.Apply(g)
}

// deleteAll lists everything that any state of the case can have brought to the
// recipient.
func (r *run) deleteAll(ctx context.Context, c store.Case, documents []store.Document) error {
	g, err := r.render(documents, c.Sequence)
	if err != nil {
		return r.fail(c, "what has to be deleted of it cannot be listed")
	}
	var gone []string
	for _, res := range g.Resources {
		gone = append(gone, res.Type+"/"+res.Key)
	}
	former, err := r.former(ctx, c, set(gone))
	if err != nil {
		return err
	}
	return r.delete(append(gone, former...))
}

// deleteFormer lists what earlier states had and the present has no more.
func (r *run) deleteFormer(ctx context.Context, c store.Case, present map[string]bool) error {
	former, err := r.former(ctx, c, present)
	if err != nil {
		return err
	}
	return r.delete(former)
}

// former are the resources of earlier states that are not in the set.
func (r *run) former(ctx context.Context, c store.Case, known map[string]bool) ([]string, error) {
	var all []string
	for sequence := 1; sequence < c.Sequence; sequence++ {
		rows, err := r.Store.DocumentsAt(ctx, c.Key, sequence)
		if fault.Is(err, fault.NotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		g, err := r.render(rows, sequence)
		if err != nil {
			// Emptied to keep less: what it had is in no later export either.
			if err := r.fail(c, fmt.Sprintf("its state %d is kept no more, so what that had cannot be listed as deleted", sequence)); err != nil {
				return nil, err
			}
			continue
		}
		for _, res := range g.Resources {
			if place := res.Type + "/" + res.Key; !known[place] {
				known[place] = true
				all = append(all, place)
			}
		}
	}
	return all, nil
}

func (r *run) delete(places []string) error {
	if len(places) == 0 {
		return nil
	}
	r.summary.Deleted += len(places)
	return r.files.write(deletedName, deletion(places))
}

// fail tells of a case that is not as it should be, by the recipient's name for
// it.
func (r *run) fail(c store.Case, why string) error {
	r.summary.Failed++
	return r.files.write(errorName, outcome(r.Recipient.CaseKey(c.Key), why))
}

func set(places []string) map[string]bool {
	all := make(map[string]bool, len(places))
	for _, p := range places {
		all[p] = true
	}
	return all
}
