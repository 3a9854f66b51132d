package bulk

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
)

// Names of the files that hold no resources of cases.
const (
	deletedName  = "deleted"
	errorName    = "error"
	manifestName = "manifest.json"
	// staging is where an export grows until it is whole.
	staging = ".unfinished"
)

func fileName(name string) string { return name + ".ndjson" }

// files are those of an export that is being written.
type files struct {
	dir, stage string
	open       map[string]*file
}

type file struct {
	f     *os.File
	w     *bufio.Writer
	lines int
}

func newFiles(dir string) (*files, error) {
	f := &files{dir: dir, stage: filepath.Join(dir, staging), open: map[string]*file{}}
	if err := os.RemoveAll(f.stage); err != nil { // of an export that was broken off
		return nil, fmt.Errorf("clearing folder: %w", err)
	}
	if err := os.MkdirAll(f.stage, 0o700); err != nil {
		return nil, fmt.Errorf("making folder: %w", err)
	}
	return f, nil
}

// write adds a line to a file, which is made with its first.
func (f *files) write(name string, line json.RawMessage) error {
	one := f.open[name]
	if one == nil {
		created, err := os.OpenFile(filepath.Join(f.stage, fileName(name)), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return fmt.Errorf("making file: %w", err)
		}
		one = &file{f: created, w: bufio.NewWriterSize(created, 64<<10)}
		f.open[name] = one
	}
	one.lines++
	_, err := one.w.Write(line)
	if err == nil {
		err = one.w.WriteByte('\n')
	}
	if err != nil {
		return fmt.Errorf("writing file: %w", err)
	}
	return nil
}

func (f *files) names() []string       { return slices.Sorted(maps.Keys(f.open)) }
func (f *files) count(name string) int { return f.open[name].lines }

func (f *files) close() error {
	var errs []error
	for _, name := range f.names() {
		one := f.open[name]
		errs = append(errs, one.w.Flush(), one.f.Sync(), one.f.Close())
	}
	return errors.Join(errs...)
}

// abandon removes what was begun.
func (f *files) abandon() error { return errors.Join(f.close(), os.RemoveAll(f.stage)) }

// publish moves the files to their place. The former manifest goes first and the
// new one comes last, so that a manifest never names files of another export.
func (f *files) publish(m manifest) error {
	raw, err := json.MarshalIndent(m, "", "  ")
	if err == nil {
		err = errors.Join(f.close(), os.WriteFile(filepath.Join(f.stage, manifestName), append(raw, '\n'), 0o600))
	}
	if err != nil {
		return fmt.Errorf("writing manifest: %w", err)
	}
	former, err := filepath.Glob(filepath.Join(f.dir, "*.ndjson"))
	if err != nil {
		return fmt.Errorf("looking for former files: %w", err)
	}
	if _, err := os.Stat(filepath.Join(f.dir, manifestName)); err == nil {
		for _, path := range append([]string{filepath.Join(f.dir, manifestName)}, former...) {
			if err := os.Remove(path); err != nil {
				return fmt.Errorf("removing former file: %w", err)
			}
		}
	} else if len(former) > 0 {
		return errors.New("publishing export: the folder holds .ndjson files that are not of an export; choose another, or remove them")
	}
	for _, name := range append(f.names(), "") {
		file := fileName(name)
		if name == "" {
			file = manifestName
		}
		if err := os.Rename(filepath.Join(f.stage, file), filepath.Join(f.dir, file)); err != nil {
			return fmt.Errorf("moving file: %w", err)
		}
	}
	if err := os.Remove(f.stage); err != nil {
		return fmt.Errorf("removing folder: %w", err)
	}
	return nil
}
