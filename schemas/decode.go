package schemas

import (
	"encoding/json"
	"errors"
	"strings"

	"enbloc/mapping/report"
)

// DecodeReport reads a report. When any finding is an error the report is the
// zero Report; the schema gives no warnings, so that is whenever there are
// findings.
func DecodeReport(raw []byte) (report.Report, []report.Finding) {
	return decode[report.Report](raw, report.SchemaReport)
}

// DecodeHistology reads the histology that a laboratory sends later.
func DecodeHistology(raw []byte) (report.HistologyPart, []report.Finding) {
	return decode[report.HistologyPart](raw, report.SchemaHistology)
}

// DecodeEvents reads events that became known later.
func DecodeEvents(raw []byte) (report.EventsPart, []report.Finding) {
	return decode[report.EventsPart](raw, report.SchemaEvents)
}

// Kind reads which kind of document raw is by its field "schema":
// report.SchemaReport, report.SchemaHistology or report.SchemaEvents. The kind
// is "" when there are findings.
func Kind(raw []byte) (string, []report.Finding) {
	s, tree := scan(raw)
	if Malformed(s.findings) {
		return "", s.findings
	}
	kind, finding := kindOf(tree)
	if finding != nil {
		return "", []report.Finding{*finding}
	}
	return kind, nil
}

// Malformed reports whether the findings are about a text that is not a JSON
// document at all (HTTP 400), and not about a document whose content was
// refused (HTTP 422).
func Malformed(findings []report.Finding) bool {
	for _, f := range findings {
		if strings.HasPrefix(f.ID, "json.") {
			return true
		}
	}
	return false
}

// decode takes raw through the three gates.
func decode[T any](raw []byte, want string) (T, []report.Finding) {
	var zero, document T
	s, tree := scan(raw)
	if Malformed(s.findings) {
		return zero, s.findings
	}
	if finding := wrongKind(tree, want); finding != nil {
		return zero, collect(append(s.findings, *finding))
	}
	findings := append(s.findings, validate(tree, want, s.refused)...)
	if len(findings) > 0 {
		return zero, collect(findings)
	}
	if err := json.Unmarshal(raw, &document); err != nil {
		return zero, []report.Finding{undecodable(raw, err)}
	}
	return document, nil
}

// undecodable covers what the schema admits and the types do not hold: a whole
// number written with a fraction of zero, such as 1.0.
func undecodable(raw []byte, err error) report.Finding {
	f := report.Finding{
		ID:       "schema.type",
		Severity: report.Error,
		Text:     "A value has not the form that its field wants.",
		Mend:     "Write it as the format describes it.",
		Source:   sourceFormat,
	}
	var mismatch *json.UnmarshalTypeError
	if errors.As(err, &mismatch) {
		f.Pointer = pointerAt(raw, int(mismatch.Offset))
		f.Text = "The value must be a whole number."
		f.Mend = "Write it without a decimal point."
	}
	return f
}

// pointerAt is the JSON Pointer of the innermost value around a byte.
func pointerAt(raw []byte, offset int) string {
	s := &scanner{raw: raw, watch: offset}
	s.space()
	s.value(0) // raw was scanned before, so this cannot halt
	if s.seen == nil {
		return ""
	}
	return *s.seen
}
