package export

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"enbloc/mapping/table"
)

// Format is a format of the files.
type Format string

// Formats.
const (
	CSV     Format = "csv"
	Parquet Format = "parquet"
)

// Formats lists all of them.
var Formats = []Format{CSV, Parquet}

// Options say what to write where.
type Options struct {
	Source Source
	// Dir is the folder; it is made when it is not there.
	Dir string
	// Formats are those wanted, at least one.
	Formats []Format
	// Scope names what the source gives ("since 2026-01-01"), so that an
	// interrupted export is not continued with something else.
	Scope string
	// PerPart is how many cases one file holds; 0 means 50,000. An interrupted
	// export goes on at the last whole part.
	PerPart int
	// Progress is told how many cases are written; nil is fine.
	Progress func(cases int)
}

// Summary says what was written.
type Summary struct {
	Cases int            `json:"cases"`
	Parts int            `json:"parts"`
	Rows  map[string]int `json:"rows"` // by table
	// Resumed is true when an interrupted export was completed.
	Resumed bool `json:"resumed,omitempty"`
}

const (
	perPart = 50_000
	// staging is where an export grows until it is whole.
	staging = ".unfinished"
)

// Run writes the export. After an error or a crash the same call goes on where
// it stopped; until it succeeds, what was in the folder before stays.
func Run(ctx context.Context, o Options) (Summary, error) {
	if o.PerPart <= 0 {
		o.PerPart = perPart
	}
	if len(o.Formats) == 0 || slices.ContainsFunc(o.Formats, func(f Format) bool { return !slices.Contains(Formats, f) }) {
		return Summary{}, errors.New("choosing formats: csv and parquet can be written, and at least one must be")
	}
	r := run{Options: o, stage: filepath.Join(o.Dir, staging)}
	if err := os.MkdirAll(r.stage, 0o700); err != nil {
		return Summary{}, fmt.Errorf("making folder: %w", err)
	}
	if err := r.resume(); err != nil {
		return Summary{}, err
	}
	for !r.mark.Whole {
		if err := r.part(ctx); err != nil {
			return r.mark.Summary, err
		}
	}
	return r.mark.Summary, r.publish()
}

type run struct {
	Options
	stage string
	mark  marker
}

// part writes the next part of every table, or finds that there is none.
func (r *run) part(ctx context.Context) error {
	number := r.mark.Summary.Parts + 1
	files, err := r.open(number)
	if err != nil {
		return err
	}
	next := r.mark
	next.Summary.Rows = cloned(r.mark.Summary.Rows)
	written, err := r.fill(ctx, files, &next)
	if err = errors.Join(err, files.close()); err != nil {
		return err
	}
	if written == 0 && number > 1 {
		next = r.mark // the part is empty: the one before was the last
		if err := files.remove(); err != nil {
			return err
		}
		next.Whole = true
		return r.keep(next)
	}
	next.Summary.Parts = number
	next.Whole = written < r.PerPart
	return r.keep(next)
}

func (r *run) fill(ctx context.Context, files files, next *marker) (int, error) {
	written := 0
	for written < r.PerPart {
		if err := ctx.Err(); err != nil {
			return written, fmt.Errorf("exporting cases: %w", err)
		}
		cases, after, err := r.Source.Page(ctx, next.After, min(pageCases, r.PerPart-written))
		if err != nil {
			return written, fmt.Errorf("reading cases: %w", err)
		}
		if len(cases) == 0 {
			break
		}
		for _, c := range cases {
			if err := files.add(c, next.Summary.Rows); err != nil {
				return written, err
			}
		}
		written += len(cases)
		next.After = after
		next.Summary.Cases += len(cases)
		if r.Progress != nil {
			r.Progress(next.Summary.Cases)
		}
	}
	return written, nil
}

// publish moves the whole export to its place and drops parts of the former
// one that have no successor.
func (r *run) publish() error {
	if err := r.describe(); err != nil {
		return err
	}
	if err := r.dropFormer(); err != nil {
		return err
	}
	staged, err := os.ReadDir(r.stage)
	if err != nil {
		return fmt.Errorf("reading folder: %w", err)
	}
	for _, f := range staged {
		if f.Name() == markerName {
			continue // last: until then the move can be repeated
		}
		if err := os.Rename(filepath.Join(r.stage, f.Name()), filepath.Join(r.Dir, f.Name())); err != nil {
			return fmt.Errorf("moving file: %w", err)
		}
	}
	if err := os.RemoveAll(r.stage); err != nil {
		return fmt.Errorf("removing folder: %w", err)
	}
	return nil
}

// describe writes the data dictionaries.
func (r *run) describe() error {
	write := func(name string, content []byte, err error) error {
		if err == nil {
			err = os.WriteFile(filepath.Join(r.stage, name), content, 0o600)
		}
		if err != nil {
			return fmt.Errorf("writing data dictionary: %w", err)
		}
		return nil
	}
	var parts []table.Part
	for _, t := range table.All() {
		content, err := t.Schema()
		if err := write(t.SchemaName(), content, err); err != nil {
			return err
		}
		for number := 1; number <= r.mark.Summary.Parts; number++ {
			parts = append(parts, table.Part{Table: t, Name: partName(t, number), Path: fileName(t, number, CSV)})
		}
	}
	if !slices.Contains(r.Formats, CSV) {
		return nil // the package describes CSV; Parquet carries its types itself
	}
	content, err := table.Package(parts)
	return write("datapackage.json", content, err)
}

// dropFormer removes the files of a former export that the new one does not
// replace.
func (r *run) dropFormer() error {
	for _, t := range table.All() {
		for _, f := range Formats {
			former, err := filepath.Glob(filepath.Join(r.Dir, t.Name+"-[0-9][0-9][0-9][0-9][0-9]."+string(f)))
			if err != nil {
				return fmt.Errorf("looking for former files: %w", err)
			}
			for _, path := range former {
				if r.mark.names(t, path) {
					continue
				}
				if err := os.Remove(path); err != nil {
					return fmt.Errorf("removing former file: %w", err)
				}
			}
		}
	}
	return nil
}

func cloned(rows map[string]int) map[string]int {
	out := make(map[string]int, len(rows))
	for name, n := range rows {
		out[name] = n
	}
	return out
}
