package schemas

import (
	"strings"

	"enbloc/mapping/report"
)

// kindOf reads the field "schema". The finding says what is wrong with it.
func kindOf(tree any) (string, *report.Finding) {
	object, ok := tree.(map[string]any)
	if !ok {
		return "", kindFinding("schema.type", "", "The document must be an object.", "Send one report or part, in braces.")
	}
	stated, ok := object["schema"].(string)
	if !ok {
		return "", kindFinding("document.schema", "/schema",
			`The field "schema", which says what this document is, is missing or no text.`,
			"Write one of "+quoted(kindNames())+".")
	}
	if _, known := roots[stated]; known {
		return stated, nil
	}
	name, _, _ := strings.Cut(stated, "/")
	for _, kind := range kindNames() {
		if own, _, _ := strings.Cut(kind, "/"); own == name {
			return "", kindFinding("document.version", "/schema",
				"This service does not read that version of the format.",
				`Send the document in the format "`+kind+`".`)
		}
	}
	return "", kindFinding("document.schema", "/schema",
		`The field "schema" names no format that this service reads.`,
		"Write one of "+quoted(kindNames())+".")
}

// wrongKind says why a document is not of the wanted kind; nil when it is.
func wrongKind(tree any, want string) *report.Finding {
	kind, finding := kindOf(tree)
	if finding != nil || kind == want {
		return finding
	}
	return kindFinding("document.kind", "/schema",
		`The document is of the kind "`+kind+`"; here "`+want+`" is read.`,
		"Send it to the place that reads its kind.")
}

// kindNames lists the formats that are read, the report first.
func kindNames() []string {
	return []string{report.SchemaReport, report.SchemaHistology, report.SchemaEvents}
}

func kindFinding(id, pointer, text, mend string) *report.Finding {
	return &report.Finding{ID: id, Severity: report.Error, Pointer: pointer, Text: text, Mend: mend, Source: sourceFormat}
}
