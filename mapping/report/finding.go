package report

// Severity says what a finding means for the document.
type Severity string

// Severities. An error rejects the document; a warning is something that is
// probably wrong; advice is something a colleague would mention.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
	Advice  Severity = "advice"
)

// Finding is one thing said about a document: where, what, and how to mend it.
// Findings are values about the data; they are not Go errors. Their texts
// repeat no identifier and no free text of the document.
type Finding struct {
	ID       string   `json:"id"` // stable id of the check, such as "schema.enum" or "specimen.smaller-than-lesion"
	Severity Severity `json:"severity"`
	Pointer  string   `json:"pointer"` // RFC 6901 JSON Pointer into the document, "" for the whole
	Text     string   `json:"text"`    // what is the matter, one sentence
	Mend     string   `json:"mend"`    // what to do about it, one sentence
	Source   string   `json:"source"`  // publication, standard, or "common practice, no source"
}

// Rejects reports whether any finding is an error.
func Rejects(findings []Finding) bool {
	for _, f := range findings {
		if f.Severity == Error {
			return true
		}
	}
	return false
}
