// Package target judges what a place that receives results has answered.
//
// It holds the one table that turns an answer into a class of action, so that
// no other package compares HTTP status codes. The table is pure: status,
// headers and OperationOutcome in, class out.
package target

import (
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
)

// Issue is what is kept of one OperationOutcome.issue. Diagnostics and details
// are dropped on reading, as servers quote identifiers in them; what is kept
// is made of letters that cannot spell a patient.
type Issue struct {
	// Severity is fatal, error, warning or information.
	Severity string `json:"severity"`
	// Code is of the FHIR R4 value set issue-type.
	Code string `json:"code"`
	// Entry is the index of the Bundle entry that the issue is about, or -1.
	Entry int `json:"entry"`
	// Path is the FHIRPath of the element, without literals; may be empty.
	Path string `json:"path,omitempty"`
	// Hint is what could be kept of the diagnostics: an error number of the
	// server ("HAPI-0989") and the words of a fixed list.
	Hint string `json:"hint,omitempty"`
}

// Issues are those of one OperationOutcome.
type Issues []Issue

// ReadIssues reads an OperationOutcome, leniently: anything else, or nothing,
// gives no issues.
func ReadIssues(body []byte) Issues {
	var oo struct {
		ResourceType string `json:"resourceType"`
		Issue        []struct {
			Severity    string   `json:"severity"`
			Code        string   `json:"code"`
			Expression  []string `json:"expression"`
			Location    []string `json:"location"`
			Diagnostics string   `json:"diagnostics"`
			Details     struct {
				Text string `json:"text"`
			} `json:"details"`
		} `json:"issue"`
	}
	if json.Unmarshal(body, &oo) != nil || oo.ResourceType != "OperationOutcome" {
		return nil
	}
	var all Issues
	for _, i := range oo.Issue {
		one := Issue{Severity: word(i.Severity), Code: word(i.Code), Entry: -1}
		for _, place := range append(i.Expression, i.Location...) {
			if entry, path := SafePath(place); path != "" {
				one.Entry, one.Path = entry, path
				break
			}
		}
		one.Hint = hint(i.Diagnostics + " " + i.Details.Text)
		if _, after, ok := strings.Cut(i.Diagnostics, "specified in path: "); ok && one.Path == "" {
			first, _, _ := strings.Cut(after, " ")
			_, one.Path = SafePath(first)
		}
		all = append(all, one)
	}
	return all
}

// HasCode reports whether an error among the issues has one of the codes.
func (is Issues) HasCode(codes ...string) bool {
	for _, i := range is {
		for _, c := range codes {
			if i.Code == c && i.Severity != "warning" && i.Severity != "information" {
				return true
			}
		}
	}
	return false
}

// Wrong reports whether there is an error among the issues, and not warnings only.
func (is Issues) Wrong() bool {
	for _, i := range is {
		if i.Severity == "error" || i.Severity == "fatal" {
			return true
		}
	}
	return false
}

// HasHint reports whether an issue carries the hint.
func (is Issues) HasHint(words string) bool {
	for _, i := range is {
		if strings.Contains(i.Hint, words) {
			return true
		}
	}
	return false
}

// String lists severity, code, path and hint; it holds no diagnostics.
func (is Issues) String() string {
	var parts []string
	for _, i := range is {
		if i.Severity == "information" {
			continue
		}
		one := strings.Join(strings.Fields(i.Severity+" "+i.Code+" "+i.Path+" "+i.Hint), " ")
		if i.Entry >= 0 {
			one += " (entry " + strconv.Itoa(i.Entry) + ")"
		}
		parts = append(parts, one)
	}
	return strings.Join(parts, "; ")
}

var (
	wordOnly  = regexp.MustCompile(`^[a-z-]{1,40}$`)
	hl7Remark = regexp.MustCompile(`/\*[^*]*\*/`)
	entryPath = regexp.MustCompile(`^(?:Bundle\.entry\[(\d+)\]|/f:Bundle/f:entry\[(\d+)\])(?:\.resource)?(?:\.ofType\(([A-Za-z]+)\))?`)
	plainPath = regexp.MustCompile(`^\.?[A-Za-z]+(?:\.[A-Za-z]+|\[\d{1,4}\]|\.ofType\([A-Za-z]+\))*$`)
	serverNo  = regexp.MustCompile(`\bHAPI-\d{4}\b`)
)

func word(s string) string {
	if wordOnly.MatchString(s) {
		return s
	}
	return ""
}

// SafePath splits a FHIRPath into Bundle entry (-1 when it names none) and
// element path. A path with a literal, a function or anything else that could
// carry a value is given as empty.
func SafePath(place string) (entry int, path string) {
	place = hl7Remark.ReplaceAllString(place, "")
	entry = -1
	if m := entryPath.FindStringSubmatch(place); m != nil {
		entry, _ = strconv.Atoi(m[1] + m[2])
		place = m[3] + place[len(m[0]):]
	}
	place = strings.TrimPrefix(place, ".")
	if place == "" && entry >= 0 {
		return entry, "resource"
	}
	if len(place) > 200 || !plainPath.MatchString(place) {
		return entry, ""
	}
	return entry, place
}

// tellTales are the phrases worth knowing of a diagnostics text. They are
// compared, never copied, so that nothing of the text itself gets through.
var tellTales = []struct{ in, out string }{
	{"referential integrity", "referential integrity"},
	{"matched 2 resources", "several matches"},
	{"multiple resources match", "several matches"},
	{"multiple matches", "several matches"},
	{"not the current version", "version is not current"},
	{"version conflict", "version is not current"},
	{"constraint failure", "lost a race"},
	{"not found, specified in path", "reference not found"},
	{"no resources match", "reference not found"},
	{"unknown resource type", "unknown type"},
}

func hint(diagnostics string) string {
	var found []string
	if no := serverNo.FindAllString(diagnostics, 2); len(no) > 0 {
		found = append(found, no...)
	}
	lower := strings.ToLower(diagnostics)
	for _, t := range tellTales {
		if strings.Contains(lower, t.in) {
			found = append(found, t.out)
			break
		}
	}
	return strings.Join(found, " ")
}
