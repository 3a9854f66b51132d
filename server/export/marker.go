package export

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"enbloc/mapping/table"
)

const markerName = "export.json"

// marker says how far an export has come: everything before it is on disk.
type marker struct {
	Version int      `json:"version"`
	Scope   string   `json:"scope"`
	Formats []Format `json:"formats"`
	PerPart int      `json:"per_part"`
	// After is the cursor of the last case written.
	After   string  `json:"after"`
	Summary Summary `json:"summary"`
	// Whole: every case is written, the files wait for being moved.
	Whole bool `json:"whole"`
}

// markerVersion changes with anything that a half-written export hangs on.
const markerVersion = 1

// ErrOther says that the folder holds a half-written export of something else.
var ErrOther = errors.New("the folder holds an unfinished export with other settings: repeat that call to finish it, " +
	"or remove the folder " + staging + " inside to give it up")

// resume reads the marker of an interrupted export, or starts a new one.
func (r *run) resume() error {
	fresh := marker{Version: markerVersion, Scope: r.Scope, Formats: r.Formats, PerPart: r.PerPart, Summary: Summary{Rows: map[string]int{}}}
	raw, err := os.ReadFile(filepath.Join(r.stage, markerName))
	if errors.Is(err, fs.ErrNotExist) {
		return r.keep(fresh)
	}
	if err != nil {
		return fmt.Errorf("reading marker: %w", err)
	}
	var m marker
	if err := json.NewDecoder(bytes.NewReader(raw)).Decode(&m); err != nil {
		return ErrOther
	}
	if m.Version != fresh.Version || m.Scope != fresh.Scope || m.PerPart != fresh.PerPart || !slices.Equal(m.Formats, fresh.Formats) {
		return ErrOther
	}
	if m.Summary.Rows == nil {
		m.Summary.Rows = map[string]int{}
	}
	m.Summary.Resumed = m.Summary.Cases > 0
	r.mark = m
	return nil
}

// keep makes m the marker, whole or not at all.
func (r *run) keep(m marker) error {
	raw, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("encoding marker: %w", err)
	}
	path := filepath.Join(r.stage, markerName)
	if err := os.WriteFile(path+".new", raw, 0o600); err != nil {
		return fmt.Errorf("writing marker: %w", err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("writing marker: %w", err)
	}
	r.mark = m
	return nil
}

// names reports whether a file has the name of one of this export: it is
// replaced by being moved over, or was moved before an interruption.
func (m marker) names(t *table.Table, path string) bool {
	for number := 1; number <= m.Summary.Parts; number++ {
		for _, f := range m.Formats {
			if filepath.Base(path) == fileName(t, number, f) {
				return true
			}
		}
	}
	return false
}
