package export

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"enbloc/mapping/table"
)

func partName(t *table.Table, number int) string { return fmt.Sprintf("%s-%05d", t.Name, number) }

func fileName(t *table.Table, number int, f Format) string {
	return partName(t, number) + "." + string(f)
}

// output is one file that is being written.
type output struct {
	table *table.Table
	file  *os.File
	below *bufio.Writer
	rows  table.Writer
}

type files []output

// open starts the files of one part. What an interrupted run left under their
// names is written over.
func (r *run) open(number int) (files, error) {
	var out files
	for _, t := range table.All() {
		for _, f := range r.Formats {
			path := filepath.Join(r.stage, fileName(t, number, f))
			file, err := os.OpenFile(filepath.Clean(path), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
			if err != nil {
				return nil, errors.Join(fmt.Errorf("making file: %w", err), out.close())
			}
			o := output{table: t, file: file, below: bufio.NewWriterSize(file, 1<<18)}
			if f == Parquet {
				o.rows = table.NewParquet(t, o.below)
			} else if o.rows, err = table.NewCSV(t, o.below); err != nil {
				return nil, errors.Join(fmt.Errorf("writing header: %w", err), out.close())
			}
			out = append(out, o)
		}
	}
	return out, nil
}

// add writes the rows of one case into every file, and counts them.
func (fs files) add(c table.Case, counts map[string]int) error {
	var rows [][]table.Value
	for i, o := range fs {
		if i == 0 || fs[i-1].table != o.table {
			rows = o.table.Rows(c)
			counts[o.table.Name] += len(rows)
		}
		for _, row := range rows {
			if err := o.rows.Write(row); err != nil {
				return fmt.Errorf("writing rows: %w", err)
			}
		}
	}
	return nil
}

// close ends the files so that they survive a loss of power.
func (fs files) close() error {
	var errs []error
	for _, o := range fs {
		errs = append(errs, o.rows.Close(), o.below.Flush(), o.file.Sync(), o.file.Close())
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("ending files: %w", err)
	}
	return nil
}

func (fs files) remove() error {
	for _, o := range fs {
		if err := os.Remove(o.file.Name()); err != nil {
			return fmt.Errorf("removing file: %w", err)
		}
	}
	return nil
}
