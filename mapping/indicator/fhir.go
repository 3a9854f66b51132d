package indicator

import (
	"encoding/json"
	"fmt"
	"html"
	"strconv"
	"strings"
)

// Canonical is the base of the canonical addresses of our Measures.
const Canonical = "https://enbloc.example/fhir"

const populationSystem = "http://terminology.hl7.org/CodeSystem/measure-population"

type object = map[string]any

// Measures are the definitions as FHIR R4 Measure resources
// (http://hl7.org/fhir/R4/measure.html), one for each proportion; a count and a
// median are cohorts and continuous variables there.
func (s *Set) Measures() []json.RawMessage {
	out := make([]json.RawMessage, len(s.Indicators))
	for i := range s.Indicators {
		out[i] = encode(s.measure(&s.Indicators[i]))
	}
	return out
}

func (s *Set) measure(d *Definition) object {
	m := object{
		"resourceType": "Measure", "id": "enbloc-" + d.ID, "url": Canonical + "/Measure/" + d.ID, "version": s.Version,
		"name": pascal(d.ID), "title": d.Title, "status": "active", "experimental": false, "publisher": "enbloc",
		"description": s.words(d) + note(d.Caution), "text": narrative("<p>" + html.EscapeString(s.words(d)+note(d.Caution)) + "</p>"),
		"subjectCodeableConcept": object{"text": "the " + d.Per + ", not the patient"},
		"scoring":                coded("http://terminology.hl7.org/CodeSystem/measure-scoring", scoring[d.Kind]),
		"type":                   []object{coded("http://terminology.hl7.org/CodeSystem/measure-type", "outcome")},
		"disclaimer":             cautionMix,
		"relatedArtifact":        citations(d),
		"group":                  []object{{"population": s.populations(d)}},
	}
	if d.Direction != "none" {
		m["improvementNotation"] = notation(d.Direction)
	}
	return m
}

var scoring = map[Kind]string{Proportion: "proportion", Count: "cohort", Median: "continuous-variable"}

func note(caution string) string {
	if caution == "" {
		return ""
	}
	return " " + caution
}

func notation(direction string) object {
	code := "increase"
	if direction == "lower" {
		code = "decrease"
	}
	return coded("http://terminology.hl7.org/CodeSystem/measure-improvement-notation", code)
}

func coded(system, code string) object {
	return object{"coding": []object{{"system": system, "code": code}}}
}

func citations(d *Definition) []object {
	out := []object{{"type": "citation", "citation": d.Source}}
	for _, b := range d.Benchmarks {
		out = append(out, object{"type": "citation", "display": "Benchmark: " + b.Of, "citation": b.Source})
	}
	return out
}

// populations spell the criteria out in words: who computes them elsewhere has
// the tables and their predicates.
func (s *Set) populations(d *Definition) []object {
	population := func(code, text, joint string, names ...string) object {
		return object{"code": coded(populationSystem, code), "description": text,
			"criteria": object{"description": text, "language": "text/cql", "expression": named(joint, names)}}
	}
	initial := population("initial-population", "rows of the table "+d.Per+" where "+s.listed([]string{"final"}), "and", "final")
	switch d.Kind {
	case Count:
		initial["description"] = s.words(d)
		return []object{initial}
	case Median:
		return []object{initial, population("measure-population", orAll(s.listed(d.Denominator)), "and", d.Denominator...),
			population("measure-observation", "median of "+d.Value, "and", d.Value)}
	}
	out := []object{initial, population("denominator", orAll(s.listed(d.Denominator)), "and", d.Denominator...)}
	if len(d.Exclusions) > 0 {
		out = append(out, population("denominator-exclusion", s.listed(d.Exclusions), "or", d.Exclusions...))
	}
	return append(out, population("numerator", s.predicates[d.Numerator].Text, "and", d.Numerator))
}

// named refers to the predicates in the way that CQL names definitions. FHIR
// wants an expression in one of its languages; what the names mean is said in
// words beside it, and in the file of definitions.
func named(joint string, names []string) string {
	if len(names) == 0 {
		return "true"
	}
	quoted := make([]string, len(names))
	for i, n := range names {
		quoted[i] = strconv.Quote(n)
	}
	return strings.Join(quoted, " "+joint+" ")
}

func orAll(text string) string {
	if text == "" {
		return "all rows"
	}
	return text
}

// MeasureReports are the results as FHIR R4 MeasureReport resources of type
// summary (http://hl7.org/fhir/R4/measurereport.html): one for each indicator,
// its groups as strata. A suppressed figure has no count. The interval, which
// R4 has no element for, stands in the narrative.
func (r Report) MeasureReports() []json.RawMessage {
	var out []json.RawMessage
	for from := 0; from < len(r.Results); {
		to := from
		for to < len(r.Results) && r.Results[to].Indicator == r.Results[from].Indicator {
			to++
		}
		out = append(out, encode(r.measureReport(r.Results[from:to])))
		from = to
	}
	return out
}

func (r Report) measureReport(results []Result) object {
	first := results[0]
	m := object{
		"resourceType": "MeasureReport", "id": "enbloc-" + first.Indicator, "status": "complete", "type": "summary",
		"measure": Canonical + "/Measure/" + first.Indicator + "|" + r.Version, "date": r.AsOf, "period": r.period(),
		"text": narrative(r.table(results)),
	}
	if r.TestData {
		m["meta"] = object{"security": []object{{"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}}}
	}
	if first.Direction != "none" {
		m["improvementNotation"] = notation(first.Direction)
	}
	group := object{}
	if r.By == "" {
		group = first.group()
	} else {
		strata := make([]object, len(results))
		for i, x := range results {
			strata[i] = x.group()
			strata[i]["value"] = object{"text": x.Group}
		}
		group["stratifier"] = []object{{"code": []object{{"text": r.By}}, "stratum": strata}}
	}
	m["group"] = []object{group}
	return m
}

// period is that of the query; an open end is left out, and with both open the
// period ends on the day of the figures.
func (r Report) period() object {
	p := object{}
	if r.From != "" {
		p["start"] = r.From
	}
	p["end"] = r.AsOf
	if r.To != "" {
		p["end"] = r.To
	}
	return p
}

func (x Result) group() object {
	g := object{}
	var populations []object
	count := func(code object, n *int) {
		if n != nil {
			populations = append(populations, object{"code": code, "count": *n})
		}
	}
	switch x.Kind {
	case Count:
		count(coded(populationSystem, "initial-population"), x.Numerator)
	case Median:
		count(coded(populationSystem, "measure-population"), x.Denominator)
	default:
		count(coded(populationSystem, "denominator"), x.Denominator)
		count(coded(populationSystem, "numerator"), x.Numerator)
	}
	count(coded(populationSystem, "denominator-exclusion"), x.Excluded)
	count(object{"text": "not evaluable: what decides is not known"}, x.NotEvaluable)
	if len(populations) > 0 {
		g["population"] = populations
	}
	switch {
	case x.Rate != nil:
		g["measureScore"] = object{"value": rounded(*x.Rate), "unit": "1", "system": "http://unitsofmeasure.org", "code": "1"}
	case x.Middle != nil:
		g["measureScore"] = object{"value": rounded(*x.Middle), "unit": x.Unit, "system": "http://unitsofmeasure.org", "code": x.Unit}
	}
	if len(g) == 0 { // a group has to have something
		g["code"] = object{"text": x.Note}
		if x.Group != "" {
			delete(g, "code")
		}
	}
	return g
}

// rounded keeps a score to the six digits that FHIR servers keep.
func rounded(f float64) json.Number { return json.Number(strconv.FormatFloat(f, 'f', 6, 64)) }

// table is the narrative: every figure, with what FHIR has no element for.
func (r Report) table(results []Result) string {
	first := results[0]
	var b strings.Builder
	fmt.Fprintf(&b, "<p>%s. %s</p><table><tr><th>Group</th><th>Figure</th><th>95%% interval (Wilson)</th><th>Excluded</th><th>Not evaluable</th></tr>",
		html.EscapeString(first.Title), html.EscapeString(first.Definition))
	for _, x := range results {
		fmt.Fprintf(&b, "<tr><td>%s</td><td>%s</td><td>%s</td><td>%s</td><td>%s</td></tr>", html.EscapeString(orWhole(x.Group)),
			html.EscapeString(x.Figure()), x.Interval(), orDash(whole(x.Excluded)), orDash(whole(x.NotEvaluable)))
	}
	b.WriteString("</table>")
	if len(first.Benchmarks) > 0 {
		fmt.Fprintf(&b, "<p>Published: %s</p>", html.EscapeString(first.Compare()))
	}
	fmt.Fprintf(&b, "<p>%s</p>", html.EscapeString(strings.Join(first.Cautions, " ")))
	return b.String()
}

// Figure is the figure for people: "92.4% (231/250)".
func (x Result) Figure() string {
	switch {
	case x.Rate != nil:
		return percent(*x.Rate) + " (" + whole(x.Numerator) + "/" + whole(x.Denominator) + ")"
	case x.Middle != nil:
		return short(*x.Middle) + " " + x.Unit + " (" + short(*x.Quartile1) + " to " + short(*x.Quartile3) + "; n " + whole(x.Denominator) + ")"
	case x.Kind == Count && x.Numerator != nil:
		return whole(x.Numerator)
	}
	return x.Note
}

// Interval is the interval for people, "–" when there is none.
func (x Result) Interval() string {
	if x.Lower == nil {
		return "–"
	}
	return percent(*x.Lower) + " to " + percent(*x.Upper)
}

func percent(f float64) string { return strconv.FormatFloat(100*f, 'f', 1, 64) + "%" }

func short(f float64) string { return strconv.FormatFloat(f, 'f', 1, 64) }

func orWhole(group string) string {
	if group == "" {
		return "all"
	}
	return group
}

func orDash(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

func narrative(inner string) object {
	return object{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml">` + inner + "</div>"}
}

// Bundle is everything in one collection: definitions and reports.
func (r Report) Bundle(s *Set) json.RawMessage {
	var entries []object
	for _, list := range [][]json.RawMessage{s.Measures(), r.MeasureReports()} {
		for _, raw := range list {
			var id struct {
				ResourceType string `json:"resourceType"`
				ID           string `json:"id"`
			}
			if json.Unmarshal(raw, &id) == nil {
				entries = append(entries, object{"fullUrl": Canonical + "/" + id.ResourceType + "/" + id.ID, "resource": raw})
			}
		}
	}
	return encode(object{"resourceType": "Bundle", "type": "collection", "entry": entries})
}

func encode(v object) json.RawMessage {
	raw, err := json.Marshal(v)
	if err != nil {
		panic("encoding our own resource: " + err.Error()) // strings, numbers, maps
	}
	return raw
}

// pascal makes a computable name of an id: en-bloc becomes EnBloc.
func pascal(id string) string {
	var b strings.Builder
	for word := range strings.SplitSeq(id, "-") {
		b.WriteString(strings.ToUpper(word[:1]) + word[1:])
	}
	if name := b.String(); name[0] >= 'A' && name[0] <= 'Z' {
		return name
	}
	return "I" + b.String()
}
