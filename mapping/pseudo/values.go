package pseudo

import (
	"encoding/json"
	"net/url"
	"strings"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/term"
)

// structure writes a value of a data type.
func (w *work) structure(way Way, at string, o *model.Object) *model.Object {
	switch way {
	case Concept:
		return w.concept(at, o)
	case Measure:
		return w.measure(at, o)
	case Span:
		return w.span(at, o)
	case Link:
		return w.link(at, o)
	case Key:
		return w.identifier(at, o)
	case Lesion:
		return w.lesion(at, o)
	}
	w.stays(at, o, NotListed)
	return nil
}

// concept keeps the codings that are known.
func (w *work) concept(at string, o *model.Object) *model.Object {
	for name, value := range o.Members() {
		if name != "coding" {
			w.stays(join(at, name), value, FreeText)
		}
	}
	kept := w.codings(o, func(c *model.Object, left string) {
		text := render(c.Get("system")) + "|" + render(c.Get("code"))
		if left == "" {
			w.tell(join(at, "coding"), Stays, UnknownCode, text, "")
			return
		}
		w.tell(join(at, "coding"), Leaves, Allowed, text, left)
	})
	if len(kept) == 0 {
		return nil
	}
	return object("coding", kept)
}

// codings are those of a concept that may leave. A display is a text too: only
// that of our table goes, with the code that it belongs to.
func (w *work) codings(o *model.Object, told func(c *model.Object, left string)) []any {
	list, _ := o.Get("coding").([]any)
	var kept []any
	for _, item := range list {
		c, ok := item.(*model.Object)
		if !ok {
			continue
		}
		left := w.coding(c)
		if told != nil {
			text := ""
			if left != nil {
				text = render(left.Get("system")) + "|" + render(left.Get("code"))
			}
			told(c, text)
		}
		if left != nil {
			kept = append(kept, left)
		}
	}
	return kept
}

func (w *work) coding(c *model.Object) *model.Object {
	system, _ := c.Get("system").(string)
	code, _ := c.Get("code").(string)
	display, _ := c.Get("display").(string)
	switch {
	case code == "":
		return nil
	case term.Known(system, code, display) && display != "":
		return object("system", system, "code", code, "display", display)
	case term.Known(system, code, display), w.rules.systems[system]:
		return object("system", system, "code", code)
	}
	return nil
}

const ucum = "http://unitsofmeasure.org"

// measure writes a Quantity, or the two of a Range or a Ratio.
func (w *work) measure(at string, o *model.Object) *model.Object {
	out := &model.Object{}
	for _, end := range []string{"low", "high", "numerator", "denominator"} {
		if q, ok := o.Get(end).(*model.Object); ok {
			if q = w.quantity(join(at, end), q); q != nil {
				out.Set(end, q)
			}
		}
	}
	if o.Get("value") == nil {
		return out
	}
	return w.quantity(at, o)
}

// quantity writes figure, comparator and unit. The unit in words stays, as a
// text; the UCUM code says the same.
func (w *work) quantity(at string, o *model.Object) *model.Object {
	value, ok := o.Get("value").(json.Number)
	system, _ := o.Get("system").(string)
	code, _ := o.Get("code").(string)
	if !ok || system != ucum || !unitForm(code) {
		w.stays(at, o, NotListed)
		return nil
	}
	out := &model.Object{}
	out.Set("value", value)
	if c, ok := o.Get("comparator").(string); ok && (c == "<" || c == "<=" || c == ">=" || c == ">") {
		out.Set("comparator", c)
	}
	from := value.String() + " " + code
	if band, old := banded(value, code); old {
		out = object("value", band, "comparator", ">=")
		w.tell(at, Changed, Banded, from, ">= "+band.String()+" "+code)
	} else {
		w.tell(at, Leaves, Allowed, from, from)
	}
	out.Set("system", system)
	out.Set("code", code)
	return out
}

// unitForm is short and without blanks: no UCUM unit in use is longer.
func unitForm(code string) bool {
	return code != "" && len(code) <= 20 && !strings.ContainsAny(code, " \t\n")
}

// banded gives years above 89 as 90 or more: 45 CFR 164.514(b)(2)(i)(C), "all
// ages over 89 … may be aggregated into a single category of age 90 or older".
// It is done by unit (UCUM a and mo), wherever an age may stand.
func banded(value json.Number, code string) (json.Number, bool) {
	v, err := value.Float64()
	switch {
	case err == nil && code == "a" && v >= 90:
		return "90", true
	case err == nil && code == "mo" && v >= 90*12:
		return "1080", true
	}
	return value, false
}

func (w *work) span(at string, o *model.Object) *model.Object {
	out := &model.Object{}
	for name, value := range o.Members() {
		text, ok := value.(string)
		if !ok || name != "start" && name != "end" {
			w.stays(join(at, name), value, NotListed)
			continue
		}
		if to := w.date(join(at, name), text, w.moved(text)); to != nil {
			out.Set(name, to)
		}
	}
	return out
}

// link writes a reference to a resource that leaves too, or to the patient.
func (w *work) link(at string, o *model.Object) *model.Object {
	for name, value := range o.Members() {
		if name != "reference" {
			w.stays(join(at, name), value, FreeText)
		}
	}
	text, _ := o.Get("reference").(string)
	if token, ok := patientToken(text); ok {
		system, value := splitToken(token)
		to := "Patient?identifier=" + w.PatientSystem() + "|" + w.Patient(system, value)
		w.tell(join(at, "reference"), Changed, Pseudonym, text, to)
		return object("reference", to)
	}
	if to := w.kept[text]; to != "" {
		w.tell(join(at, "reference"), Changed, Rekeyed, text, to)
		return object("reference", to)
	}
	if text != "" {
		w.tell(join(at, "reference"), Stays, LeadsOut, text, "")
	}
	return nil
}

const patientPrefix = "Patient?identifier="

// patientToken is system|value of a reference to a patient, escaped as FHIR
// searches are.
func patientToken(reference string) (string, bool) {
	escaped, ok := strings.CutPrefix(reference, patientPrefix)
	if !ok {
		return "", false
	}
	token, err := url.QueryUnescape(escaped)
	return token, err == nil && token != ""
}

// splitToken parts system and value at the first | that no backslash escapes.
func splitToken(token string) (system, value string) {
	var parts [2]strings.Builder
	at := 0
	for i := 0; i < len(token); i++ {
		switch c := token[i]; {
		case c == '\\' && i+1 < len(token):
			i++
			parts[at].WriteByte(token[i])
		case c == '|' && at == 0:
			at = 1
		default:
			parts[at].WriteByte(c)
		}
	}
	if at == 0 {
		return "", parts[0].String()
	}
	return parts[0].String(), parts[1].String()
}

// patientOf is the token of the patient whom a resource names as its subject.
func patientOf(body *model.Object) string {
	for _, name := range []string{"subject", "patient"} {
		if o, ok := body.Get(name).(*model.Object); ok {
			text, _ := o.Get("reference").(string)
			if token, ok := patientToken(text); ok {
				return token
			}
		}
	}
	return ""
}

// identifier makes the resource's own key anew.
func (w *work) identifier(at string, o *model.Object) *model.Object {
	value, _ := o.Get("value").(string)
	if o.Get("system") != w.names.RoleKeySystem || value == "" {
		w.stays(at, o, NotListed)
		return nil
	}
	key := w.RoleKey(value)
	w.tell(join(at, "system"), Changed, Rekeyed, w.names.RoleKeySystem, w.RoleKeySystem())
	w.tell(join(at, "value"), Changed, Rekeyed, value, key)
	return object("system", w.RoleKeySystem(), "value", key)
}

const lesionExtension = "http://hl7.org/fhir/StructureDefinition/procedure-targetBodyStructure"

func (w *work) lesion(at string, o *model.Object) *model.Object {
	to, ok := o.Get("valueReference").(*model.Object)
	if !ok || o.Get("url") != lesionExtension {
		w.stays(at, o, NotListed)
		return nil
	}
	if to = w.link(join(at, "valueReference"), to); to == nil {
		return nil
	}
	return object("url", lesionExtension, "valueReference", to)
}

// meta labels the resource and makes its tags anew. A claimed profile stays: it
// would no longer be true of what is left.
func (w *work) meta(body *model.Object) *model.Object {
	from, _ := body.Get("meta").(*model.Object)
	if from == nil {
		from = &model.Object{}
	}
	var labels, tags []any
	for name, value := range from.Members() {
		list, ok := value.([]any)
		if !ok || name != "security" && name != "tag" {
			w.stays("meta."+name, value, NotListed)
			continue
		}
		for _, item := range list {
			c, ok := item.(*model.Object)
			if !ok {
				continue
			}
			left := w.tag(name, c)
			switch {
			case left == nil:
				w.stays("meta."+name, c, UnknownCode)
			case name == "tag":
				tags = append(tags, left)
			default:
				labels = append(labels, left)
			}
		}
	}
	c, _ := term.Lookup("hl7.v3-ObservationValue.PSEUDED")
	labels = append(labels, object("system", c.System, "code", c.Code, "display", c.Display))
	w.tell("meta.security", Changed, Labelled, "", c.System+"|"+c.Code)
	out := object("security", labels)
	if len(tags) > 0 {
		out.Set("tag", tags)
	}
	return out
}

func (w *work) tag(name string, c *model.Object) *model.Object {
	code, _ := c.Get("code").(string)
	at := "meta." + name
	switch c.Get("system") {
	case w.names.CaseKeySystem:
		to := w.CaseKey(code)
		w.tell(at, Changed, Rekeyed, w.names.CaseKeySystem+"|"+code, w.CaseKeySystem()+"|"+to)
		return object("system", w.CaseKeySystem(), "code", to)
	case w.names.RoleKeySystem:
		to := w.RoleKey(code)
		w.tell(at, Changed, Rekeyed, w.names.RoleKeySystem+"|"+code, w.RoleKeySystem()+"|"+to)
		return object("system", w.RoleKeySystem(), "code", to)
	}
	left := w.coding(c)
	if left != nil {
		text := render(left.Get("system")) + "|" + render(left.Get("code"))
		w.tell(at, Leaves, Allowed, text, text)
	}
	return left
}
