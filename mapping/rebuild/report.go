package rebuild

import (
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// walk is one reading of a record.
type walk struct {
	Record
	tree    map[string]any
	lesions map[int]map[string]any
	// number tells the lesion behind a BodyStructure, a Condition or a
	// resection's Procedure.
	number map[string]int
}

// Report reads the facts of a case. The error says that what was found is no
// report, which would be a mistake here or a record of somebody else's making.
func (r Record) Report() (report.Report, error) {
	w := &walk{Record: r, tree: map[string]any{}, lesions: map[int]map[string]any{}, number: map[string]int{}}
	w.places()
	for _, panel := range r.kinds["Observation"] {
		w.panel(panel)
	}
	w.session()
	w.procedures()
	for _, specimen := range r.kinds["Specimen"] {
		w.specimen(specimen)
	}
	w.events()
	w.plan()
	w.images()
	w.envelope()
	for _, n := range slices.Sorted(maps.Keys(w.lesions)) {
		w.lesions[n]["number"] = n
		put(w.tree, "lesions[]", w.lesions[n])
	}
	raw, err := json.Marshal(w.tree)
	if err != nil {
		return report.Report{}, fmt.Errorf("writing the facts of a record: %w", err)
	}
	var rep report.Report
	if err := json.Unmarshal(raw, &rep); err != nil {
		return report.Report{}, fmt.Errorf("reading the facts of a record as a report: %w", err)
	}
	return rep, nil
}

// lesionNumber is how a lesion is called in words. R4 gives a BodyStructure no
// place for a number.
var lesionNumber = regexp.MustCompile(`^Lesion (\d+):`)

// places finds the lesions and what leads to them: the Condition by the panel
// that is its evidence, the resection by the place that it targets.
func (w *walk) places() {
	for _, b := range w.kinds["BodyStructure"] {
		if m := lesionNumber.FindStringSubmatch(b.text("description")); m != nil {
			n, _ := strconv.Atoi(m[1]) // digits only
			w.number[b.text("§")] = n
			w.lesions[n] = map[string]any{}
		}
	}
	for _, c := range w.kinds["Condition"] {
		for _, evidence := range c.list("evidence") {
			for _, at := range evidence.refs("detail") {
				if n := w.lesionOf(w.at[at], "focus"); n != 0 {
					w.number[c.text("§")] = n
				}
			}
		}
	}
	for _, p := range w.kinds["Procedure"] {
		for _, extension := range p.list("extension") {
			if n := w.lesionOf(extension, "valueReference"); n != 0 {
				w.number[p.text("§")] = n
			}
		}
	}
}

// lesionOf is the number of the lesion that a member refers to, 0 for none.
func (w *walk) lesionOf(n node, member string) int {
	for _, at := range n.refs(member) {
		if number := w.number[at]; number != 0 {
			return number
		}
	}
	return 0
}

// panel reads a panel into what it is about.
func (w *walk) panel(p node) {
	switch code(p.in("code")) {
	case "pre-procedure-panel":
		before := w.child(w.tree, "before")
		w.facts(p, beforeFacts, before, nil)
		if len(before) == 0 {
			delete(w.tree, "before")
		}
	case "lesion-endoscopic-panel":
		if lesion := w.lesions[w.lesionOf(p, "focus")]; lesion != nil {
			put(lesion, "comment", p.firstNote())
			w.facts(p, examinationFacts, w.child(lesion, "examination"), lesion)
		}
	case "resection-panel":
		if lesion := w.lesions[w.lesionOf(p, "focus")]; lesion != nil {
			w.facts(p, resectionFacts, w.child(lesion, "resection"), lesion)
		}
	case "histology-panel":
		w.histology(p)
	}
}

func (w *walk) child(of map[string]any, name string) map[string]any {
	had, ok := of[name].(map[string]any)
	if !ok {
		had = map[string]any{}
		of[name] = had
	}
	return had
}

// facts reads the members of a panel, in their order, and their members.
func (w *walk) facts(p node, table map[string]fact, into, lesion map[string]any) {
	for _, at := range p.refs("hasMember") {
		o := w.at[at]
		if o == nil {
			continue
		}
		if f, known := table[code(o.in("code"))]; known {
			w.fact(o, p, f, into, lesion)
		}
		w.facts(o, table, into, lesion)
	}
}

// fact reads one Observation.
func (w *walk) fact(o, panel node, f fact, into, lesion map[string]any) {
	root := into
	if f.item != "" {
		into = map[string]any{}
	}
	where := func(path string) (map[string]any, string) {
		if rest, ok := strings.CutPrefix(path, "report:"); ok {
			return w.tree, rest
		}
		if rest, ok := strings.CutPrefix(path, "lesion:"); ok {
			return lesion, rest
		}
		return into, path
	}
	set := func(path string, value any) {
		if path != "" {
			target, rest := where(path)
			put(target, rest, value)
		}
	}
	switch concept := o.in("valueCodeableConcept"); {
	case f.ranked:
		f.rank(o, func(value any) { set(f.value+"[]", value) })
	case f.words != "" && o.text("valueString") != "":
		set(f.words, o.text("valueString"))
	case f.words != "" && len(concept.list("coding")) == 0:
		set(f.words, concept.text("text"))
		set(f.value, absenceOf(o))
	case groups()[code(concept)] != "organ": // a place without a site names its organ again
		set(f.value, said(o))
	}
	for _, c := range o.list("component") {
		set(f.parts[code(c.in("code"))], said(c))
	}
	set(f.note, o.firstNote())
	w.times(o, panel, f, set)
	if f.item != "" {
		w.links(o, into)
		put(root, f.item+"[]", into)
	}
}

// absenceOf is the stated reason for a missing value, nil for none.
func absenceOf(o node) any {
	return said(node{"dataAbsentReason": o["dataAbsentReason"]})
}

// rank reads a list of values: one is the value itself, several are components.
func (f fact) rank(o node, add func(any)) {
	ranks := o.list("component")
	if len(ranks) == 0 {
		add(said(o))
	}
	for _, c := range ranks {
		add(said(c))
	}
}

// times reads a time of the fact's own.
func (w *walk) times(o, panel node, f fact, set func(string, any)) {
	if f.period {
		set("start", o.in("effectivePeriod").text("start"))
		set("end", o.in("effectivePeriod").text("end"))
	}
	if at := o.text("effectiveDateTime"); f.moment != "" && at != panel.text("effectiveDateTime") {
		set(f.moment, at)
	}
}

// links reads what an item of a list refers to.
func (w *walk) links(o node, into map[string]any) {
	if code(o.in("code")) == "earlier-measure" {
		if n := w.lesionOf(o, "focus"); n != 0 {
			into["lesion"] = n
		}
	}
	if device := w.to(o, "device"); device != nil {
		put(into, "generator", businessIdentifier(device))
	}
}
