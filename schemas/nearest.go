package schemas

import (
	"sort"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// nearest returns the word that a slip of the keyboard or of the unit turned
// into what was written: at most a third of its letters differ. "" when none
// is near.
func nearest(written string, words []string) string {
	if len(written) > maxFieldName {
		return ""
	}
	best, least := "", len(written)/3+1
	for _, w := range words {
		if written != "" && strings.HasSuffix(fold(w), "-"+fold(written)) {
			return w // the prefix was left out: IIc for 0-IIc
		}
		if d := distance(fold(written), fold(w)); d < least || d == least && best == "" && d <= len(w)/3 {
			best, least = w, d
		}
	}
	return best
}

// fold makes the spellings alike that people mix up: capitals, blanks, hyphens.
func fold(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '_' || r == ' ' {
			return '-'
		}
		return r
	}, strings.ToLower(s))
}

// distance is the Levenshtein distance in bytes: how many letters to insert,
// delete or replace. Both words are short (callers bound them).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

// sortedFields lists the fields of an object, for sentences.
func sortedFields(s *jsonschema.Schema) []string {
	var names []string
	for name := range s.Properties {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
