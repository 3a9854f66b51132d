package schemas

import (
	"encoding/json"
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"enbloc/mapping/report"
)

const (
	folderURL = Base + version + "/"
	common    = folderURL + "common.schema.json#/$defs/"
)

// form is what a text of one of the common definitions must look like.
type form struct{ id, text, mend string }

// forms explains the definitions whose pattern, format or alternatives can
// fail. Patterns are for machines; people get these sentences.
var forms = map[string]form{
	common + "time":                        {"schema.time", "is not a time with seconds and zone.", "Write it as 2026-03-10T09:20:00+01:00."},
	common + "date":                        {"schema.date", "is not a day, month or year of the calendar.", "Write it as 2026-03-10, 2026-03 or 2026."},
	common + "uri":                         {"schema.uri", "is not an absolute URI.", "Write it as https://hospital.example/sid/patient or urn:oid:2.999.1."},
	common + "text":                        {"schema.text", "holds control characters other than tabulators and line breaks.", "Remove them."},
	common + "line":                        {"schema.text", "holds control characters or line breaks.", "Write it on one line."},
	common + "identifier/properties/value": {"schema.text", "holds control characters, or blanks at its ends.", "Write the identifier alone."},
	folderURL + "image.schema.json#/properties/url":          {"schema.uri", "is not an http or https address.", "Refer to the picture as https://pictures.example/1; it is never included."},
	folderURL + "image.schema.json#/properties/content_type": {"schema.text", "is not the media type of a picture.", "Write it as image/jpeg or application/dicom."},
	folderURL + "event.schema.json#/properties/id":           {"schema.text", "holds other than letters, digits, dots, hyphens and underscores.", "Write the event's id in these characters."},
}

// explain words a failure of the value itself.
func (p place) explain() report.Finding {
	if p.value == nil {
		return p.says("schema.null", p.subject()+" is null, which says nothing about why there is no value.",
			`Leave the field out, or say why where the field allows it: "unknown", "not-assessed" or "not-applicable".`)
	}
	if p.rule.Location == common+"number" {
		return p.notANumber()
	}
	if p.value == "" && p.keyword != "enum" {
		return p.says("schema.length", p.subject()+" is empty.", "Leave the field out, or fill it.")
	}
	if f, known := forms[p.rule.Location]; known && (p.keyword == "pattern" || p.keyword == "format" || p.keyword == "anyOf") {
		return p.says(f.id, p.subject()+" "+f.text, f.mend)
	}
	switch p.keyword {
	case "type":
		return p.wrongType()
	case "enum":
		return p.notInList()
	case "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "multipleOf":
		return p.says("schema.range", p.subject()+" must be "+rangeWords(p.rule)+unitIn(p.field)+".", "Check the figure and its unit.")
	case "maxLength":
		return p.says("schema.length", fmt.Sprintf("%s is longer than %d characters.", p.subject(), p.rule.MaxLength), "Shorten it.")
	case "minItems":
		return p.says("schema.items", fmt.Sprintf("%s must have entries, at least %d.", p.subject(), p.rule.MinItems), "Add what is missing.")
	case "maxItems":
		return p.says("schema.items", fmt.Sprintf("%s has more than %d entries.", p.subject(), p.rule.MaxItems), "Check whether they belong into one document.")
	case "uniqueItems":
		return p.says("schema.items", p.subject()+" names the same twice.", "Name each once.")
	case "minProperties":
		return p.says("schema.required", p.subject()+" is empty.", "Fill at least one of "+strings.Join(sortedFields(p.rule), ", ")+".")
	}
	return p.says("schema.form", p.subject()+" is not as the format wants it.", "The format says: "+lowerFirst(p.rule.Description))
}

// withUnit recognises a figure with a unit behind it, which may be repeated to
// the sender: it cannot hold patient data.
var withUnit = regexp.MustCompile(`^([0-9]{1,6}(?:\.[0-9]{1,4})?) ?([µμ]m|um|mm|cm|ml|mL|[wW]|min|h|g/d[lL]|mg/d[lL]|mg|µg|ug|%|°C|)$`)

func (p place) notANumber() report.Finding {
	unit := unitOf(p.field)
	mend := "Write the figure alone, without quotation marks, or say why there is none."
	if text, ok := p.value.(string); ok {
		if m := withUnit.FindStringSubmatch(text); m != nil {
			mend = fmt.Sprintf("Write %s, not %q.", m[1], text)
			if m[2] != "" && unit.symbol != "" && m[2] != unit.symbol {
				mend = "Convert it to " + unit.words + " and write the figure alone."
			}
		}
	}
	in := ""
	if unit.words != "" {
		in = " in " + unit.words
	}
	return p.says("schema.number", p.subject()+" must be a number"+in+", or one of unknown, not-assessed, not-applicable.", mend)
}

// typeWords says each JSON type in words.
var typeWords = map[string]string{
	"object": "an object in braces", "array": "a list in brackets", "string": "a text in quotation marks",
	"number": "a number", "integer": "a whole number", "boolean": "true or false",
}

func (p place) wrongType() report.Finding {
	var words []string
	for _, t := range p.rule.Types {
		words = append(words, typeWords[t])
	}
	wanted := strings.Join(words, " or ")
	return p.says("schema.type", p.subject()+" must be "+wanted+".", "Write "+wanted+"; the published schema has an example.")
}

func (p place) notInList() report.Finding {
	var allowed []string
	for _, v := range p.rule.Enum {
		allowed = append(allowed, fmt.Sprint(v))
	}
	mend := "Write one of these words exactly."
	switch v := p.value.(type) {
	case string:
		if near := nearest(v, allowed); near != "" {
			mend = fmt.Sprintf("Did you mean %q?", near)
		}
	case json.Number:
		if slices.Contains(allowed, v.String()) { // classes such as NICE 2 are words
			mend = fmt.Sprintf("Write %q, in quotation marks.", v)
		}
	}
	return p.says("schema.value", p.subject()+" must be one of "+strings.Join(allowed, ", ")+".", mend)
}

// rangeWords says what figures a rule allows.
func rangeWords(s *jsonschema.Schema) string {
	figure := func(r *big.Rat) string {
		text := r.FloatString(4)
		return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
	}
	kind := ""
	if s.MultipleOf != nil {
		kind = "a whole number "
	}
	switch {
	case s.ExclusiveMinimum != nil:
		return kind + "more than " + figure(s.ExclusiveMinimum) + " and at most " + figure(s.Maximum)
	case s.Minimum != nil && s.Maximum != nil:
		return kind + "from " + figure(s.Minimum) + " to " + figure(s.Maximum)
	}
	return kind + "within the range of the format"
}

func quoted(words []string) string { return `"` + strings.Join(words, `", "`) + `"` }
