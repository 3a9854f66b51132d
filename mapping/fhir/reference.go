package fhir

import (
	"strings"
	"unicode/utf8"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// conditional is a reference to something the hospital owns, which the server
// resolves by a search for its business identifier.
func conditional(resourceType string, id report.Identifier) string {
	return resourceType + "?identifier=" + escapeToken(id.System) + "|" + escapeToken(id.Value)
}

// escapeToken escapes a value for a FHIR token search and then for a URL: a
// backslash before \ $ , | (R4 search, 3.1.1.4.0.2), then percent-encoding of
// all that is not unreserved, ":" or "/" (RFC 3986).
func escapeToken(s string) string {
	const hexDigits = "0123456789ABCDEF"
	var b strings.Builder
	b.Grow(len(s))
	percent := func(c byte) { b.WriteByte('%'); b.WriteByte(hexDigits[c>>4]); b.WriteByte(hexDigits[c&15]) }
	for i := range len(s) {
		c := s[i]
		switch c {
		case '\\', '$', ',', '|':
			percent('\\')
			percent(c)
		case '-', '.', '_', '~', ':', '/':
			b.WriteByte(c)
		default:
			if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
				b.WriteByte(c)
			} else {
				percent(c)
			}
		}
	}
	return b.String()
}

// logical is a reference by identifier only, to what no server has to hold.
func logical(resourceType string, id report.Identifier, display string) model.Reference {
	return model.Reference{Type: model.Str(resourceType), Identifier: identifier(id), Display: model.Str(display)}
}

func identifier(id report.Identifier) *model.Identifier {
	return &model.Identifier{System: model.Str(clean(id.System)), Value: model.Str(clean(id.Value))}
}

// practitioner refers to a person by business identifier, nil for nobody.
func practitioner(id *report.Identifier) *model.Reference {
	if id == nil || id.Zero() {
		return nil
	}
	r := model.Ref(conditional("Practitioner", *id))
	return &r
}

func listOf(r *model.Reference) []model.Reference {
	if r == nil {
		return nil
	}
	return []model.Reference{*r}
}

// clean makes free text fit for a FHIR string: no control characters but tab
// and line breaks, no surrogates or replacement of broken bytes, no space
// around it. Blank text becomes "".
func clean(s string) string {
	if isClean(s) {
		return strings.TrimSpace(s)
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f || r == '\uFFFE' || r == '\uFFFF' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "")))
}

// isClean is sure that clean would take nothing out of a text: to look costs
// less than to copy.
func isClean(s string) bool {
	ascii := true
	for i := range len(s) {
		c := s[i]
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7f || c == 0xef { // 0xef may begin U+FFFE
			return false
		}
		ascii = ascii && c < utf8.RuneSelf
	}
	return ascii || utf8.ValidString(s)
}
