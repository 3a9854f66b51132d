package server

import (
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// operationOutcome is the little of the R4 resource that an error needs
// (http://hl7.org/fhir/R4/operationoutcome.html).
type operationOutcome struct {
	ResourceType string  `json:"resourceType"`
	Issue        []issue `json:"issue"`
}

type issue struct {
	Severity    string      `json:"severity"`
	Code        string      `json:"code"`
	Details     conceptText `json:"details"`
	Diagnostics string      `json:"diagnostics,omitempty"`
	Expression  []string    `json:"expression,omitempty"`
}

type conceptText struct {
	Text string `json:"text"`
}

// outcomeOf says a problem in FHIR: one issue for the whole, then one for each
// finding.
func outcomeOf(p problem) operationOutcome {
	o := operationOutcome{ResourceType: "OperationOutcome", Issue: []issue{{
		Severity: "error", Code: p.issue, Details: conceptText{p.Detail}, Diagnostics: "request " + p.RequestID,
	}}}
	for _, f := range p.Findings {
		i := issue{Severity: severityOf(f.Severity), Code: p.issue, Details: conceptText{f.Text + " " + f.Mend}, Diagnostics: f.ID}
		if f.Pointer != "" {
			i.Diagnostics += " at " + f.Pointer
			i.Expression = []string{expression(f.Pointer)}
		}
		o.Issue = append(o.Issue, i)
	}
	return o
}

func severityOf(s report.Severity) string {
	switch s {
	case report.Error:
		return "error"
	case report.Warning:
		return "warning"
	}
	return "information"
}

// expression is a JSON Pointer as the simple path that OperationOutcome asks
// for: /lesions/0/number becomes lesions[0].number.
func expression(pointer string) string {
	var b strings.Builder
	for token := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
		if _, err := strconv.Atoi(token); err == nil {
			b.WriteString("[" + token + "]")
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(strings.NewReplacer("~1", "/", "~0", "~").Replace(token))
	}
	return b.String()
}
