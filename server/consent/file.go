package consent

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"enbloc/mapping/report"
)

// Rule says what it means to stand on a list.
type Rule string

// The rules.
const (
	// OptOut: who stands on the list has objected; all others may be sent.
	OptOut Rule = "opt-out"
	// OptIn: only who stands on the list has agreed.
	OptIn Rule = "opt-in"
)

// File is a list of patients, one a line as system|value; empty lines and those
// that begin with # do not count. It is read anew for every question, so that a
// change counts from the next sending on.
type File struct {
	Path string
	Rule Rule
}

// Allows looks the patient up.
func (f File) Allows(ctx context.Context, patient report.Identifier) (bool, error) {
	s, err := f.Snapshot()
	if err != nil {
		return false, err
	}
	return s.Allows(ctx, patient)
}

// snapshot is a list as it was read.
type snapshot struct {
	rule   Rule
	listed map[[2]string]bool
}

func (s snapshot) Allows(_ context.Context, patient report.Identifier) (bool, error) {
	found := s.listed[[2]string{strings.TrimSpace(patient.System), strings.TrimSpace(patient.Value)}]
	return found == (s.rule == OptIn), nil
}

// Snapshot is the list as it is now, for many questions at one moment.
func (f File) Snapshot() (Source, error) {
	if f.Rule != OptOut && f.Rule != OptIn {
		return nil, fmt.Errorf("reading list of patients: %q is no rule", f.Rule)
	}
	raw, err := os.ReadFile(filepath.Clean(f.Path))
	if err != nil {
		var p *fs.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		return nil, fmt.Errorf("reading list of patients: %w", err)
	}
	listed := map[[2]string]bool{}
	lines := bufio.NewScanner(bytes.NewReader(raw))
	for number := 1; lines.Scan(); number++ {
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if line == "" || line[0] == '#' {
			continue
		}
		system, value, ok := strings.Cut(line, "|")
		if system, value = strings.TrimSpace(system), strings.TrimSpace(value); !ok || value == "" {
			// Whom the line was meant for nobody knows, so nobody may be sent.
			return nil, fmt.Errorf("reading list of patients: line %d is not system|value", number)
		}
		listed[[2]string{system, value}] = true
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("reading list of patients: %w", err)
	}
	return snapshot{f.Rule, listed}, nil
}
