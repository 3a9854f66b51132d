package service

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	"enbloc/mapping/assess"
)

// bookFile is what a department chooses of the rule book, as JSON:
//
//	{"mark": "endo-2026-02", "switches": [
//	  {"guideline": "Korea", "on": false},
//	  {"rule": "R5.gastric.bleeding.bestj", "on": true}]}
//
// The switches work in their order. The mark is the department's name for its
// choice; it joins the version that every derived record carries, so that a
// reader can tell by whose book an answer was made.
type bookFile struct {
	Mark     string `json:"mark"`
	Switches []struct {
		Rule      string `json:"rule"`
		Guideline string `json:"guideline"`
		On        *bool  `json:"on"`
	} `json:"switches"`
}

var bookMark = regexp.MustCompile(`^[A-Za-z0-9._-]{1,40}$`)

// maxBook bounds a book file; hundreds of switches take a few kilobytes.
const maxBook = 1 << 20

// LoadBook returns the default book with the choices of the file; path "" is
// the default book alone. A field, rule or guideline that does not exist is an
// error: a switch that silently does nothing would be taken for done.
func LoadBook(path string) (assess.Book, error) {
	book := assess.DefaultBook()
	if path == "" {
		return book, nil
	}
	f, err := os.Open(filepath.Clean(path))
	if err != nil {
		return book, fmt.Errorf("reading book file: %w", err)
	}
	defer f.Close() //nolint:errcheck // nothing was written
	raw, err := io.ReadAll(io.LimitReader(f, maxBook))
	if err != nil {
		return book, fmt.Errorf("reading book file: %w", err)
	}
	if book, err = choose(book, raw); err != nil {
		return book, fmt.Errorf("reading book file %s: %w", path, err)
	}
	return book, nil
}

func choose(book assess.Book, raw []byte) (assess.Book, error) {
	var file bookFile
	decoder := json.NewDecoder(bytes.NewReader(raw))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&file); err != nil {
		return book, err
	}
	if !bookMark.MatchString(file.Mark) {
		return book, errors.New(`it needs a "mark" of 1 to 40 letters, digits, dots, hyphens or underscores, by which records name this choice`)
	}
	var switches []assess.Switch
	for i, s := range file.Switches {
		if s.On == nil || (s.Rule == "") == (s.Guideline == "") {
			return book, fmt.Errorf(`switch %d needs "on" and either "rule" or "guideline"`, i+1)
		}
		switches = append(switches, assess.Switch{Rule: s.Rule, Guideline: s.Guideline, On: *s.On})
	}
	chosen, err := book.With(switches...)
	if err != nil {
		return book, err
	}
	chosen.Version += "+" + file.Mark
	return chosen, nil
}
