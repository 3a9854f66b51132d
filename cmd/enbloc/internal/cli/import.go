package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"

	"enbloc/mapping/importer"
)

type importFlags struct {
	mapping, out   string
	accepted, json bool
}

func newImport(s Streams) *cobra.Command {
	var f importFlags
	c := &cobra.Command{
		Use:     "import TABLE.csv --mapping FILE",
		GroupID: onFile,
		Short:   "Read a former spreadsheet as draft reports",
		Long: `Read the rows of a CSV table as draft reports, as a mapping file says: which column goes
to which field, and what its words mean. Every row is held against schema and checks;
nothing is guessed. What is refused is listed with row, column and reason.

Without --out nothing is written. With it, one draft a row is written, and nothing at all
when a row is refused, unless --accepted takes the good rows. Read each draft, sign it,
and send it with: enbloc send`,
		Example: `  enbloc import former.csv --mapping former.json
  enbloc import former.csv --mapping former.json --out drafts`,
		Args: exactly(1, "one table (CSV, or - for standard input)"),
		RunE: func(_ *cobra.Command, args []string) error { return s.importTable(args[0], f) },
	}
	c.Flags().SortFlags = false
	c.Flags().StringVar(&f.mapping, "mapping", "", "`FILE` that says what the columns mean (needed)")
	c.Flags().StringVar(&f.out, "out", "", "`DIR` to write the drafts into; it must be new or empty")
	c.Flags().BoolVar(&f.accepted, "accepted", false, "write the good rows although others are refused")
	c.Flags().BoolVar(&f.json, "json", false, "print what was refused as JSON")
	return c
}

func (s Streams) importTable(name string, f importFlags) error {
	if f.mapping == "" {
		return usagef("say what the columns mean: --mapping FILE")
	}
	raw, err := os.ReadFile(filepath.Clean(f.mapping))
	if err != nil {
		return usagef("reading mapping file: %w", err)
	}
	m, err := importer.Read(raw)
	if err != nil {
		return usagef("%w", err)
	}
	in, err := s.table(name)
	if err != nil {
		return err
	}
	result, err := m.Table(in)
	if err = errors.Join(err, in.Close()); err != nil {
		return usagef("%w", err)
	}
	written := 0
	if f.out != "" && (len(result.Refused) == 0 || f.accepted) {
		if err := writeDrafts(f.out, result.Drafts); err != nil {
			return err
		}
		written = len(result.Drafts)
	}
	if err := s.printImport(f, result, written); err != nil {
		return err
	}
	if len(result.Refused) > 0 {
		return errHasErrors
	}
	return nil
}

func (s Streams) table(name string) (io.ReadCloser, error) {
	if name == "-" {
		if s.In == nil {
			return nil, usagef("reading table: there is no standard input")
		}
		return io.NopCloser(s.In), nil
	}
	in, err := os.Open(filepath.Clean(name))
	if err != nil {
		return nil, usagef("reading table: %w", err)
	}
	return in, nil
}

// writeDrafts writes all of them or none: into a folder beside, which then gets
// the name.
func writeDrafts(dir string, drafts []importer.Draft) (err error) {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		return usagef("%s is not empty: name a new folder", dir)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return usagef("reading folder: %w", err)
	}
	dir = filepath.Clean(dir)
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return usagef("making folder: %w", err)
	}
	beside, err := os.MkdirTemp(filepath.Dir(dir), ".enbloc-import-*")
	if err != nil {
		return usagef("making folder: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(beside))
		}
	}()
	for _, d := range drafts {
		name := filepath.Join(beside, fmt.Sprintf("row-%05d.json", d.Row))
		if err := os.WriteFile(name, append(d.JSON, '\n'), 0o600); err != nil {
			return usagef("writing draft: %w", err)
		}
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return usagef("replacing folder: %w", err)
	}
	if err := os.Rename(beside, dir); err != nil {
		return usagef("naming folder: %w", err)
	}
	return nil
}

func (s Streams) printImport(f importFlags, r importer.Result, written int) error {
	if f.json {
		refused := r.Refused
		if refused == nil {
			refused = []importer.Refusal{}
		}
		return s.printJSON(map[string]any{"rows": r.Rows, "accepted": len(r.Drafts), "written": written, "refused": refused})
	}
	p := s.page()
	p.Text(0, fmt.Sprintf("%d rows: %d can be taken as drafts, %d are refused, %d written.", r.Rows, len(r.Drafts), r.Rows-len(r.Drafts), written))
	if len(r.Refused) > 0 {
		rows := make([][]string, len(r.Refused))
		for i, x := range r.Refused {
			rows[i] = []string{strconv.Itoa(x.Row), x.Column, x.Pointer, x.Reason}
		}
		p.Gap()
		p.Table(0, []string{"Row", "Column", "Field", "Why"}, rows)
	}
	warnings := 0
	for _, d := range r.Drafts {
		warnings += len(d.Warnings)
	}
	if warnings > 0 {
		p.Gap()
		p.Text(0, fmt.Sprintf("%d findings that refuse nothing stand in the drafts; enbloc check shows those of one.", warnings))
	}
	return writing(p.Err())
}
