package rebuild

import "strings"

// histology reads the pathologist's panel. The lesion is that whose Condition
// has the panel as evidence: the findings are about a specimen, not a place.
func (w *walk) histology(p node) {
	for _, c := range w.kinds["Condition"] {
		for _, evidence := range c.list("evidence") {
			lesion := w.lesions[w.number[c.text("§")]]
			if lesion == nil || !evidence.names("detail", p) {
				continue
			}
			h := w.child(lesion, "histology")
			put(h, "status", p.text("status"))
			put(h, "issued_at", p.text("issued"))
			for _, who := range p.list("performer") {
				put(h, "pathologist", w.named(who))
			}
			if specimen := w.to(p, "specimen"); specimen != nil {
				put(h, "accession", businessIdentifier(node{"identifier": specimen["accessionIdentifier"]}))
			}
			put(h, "lab_report", w.laboratoryReport(p))
			put(h, "text", p.firstNote())
			w.facts(p, histologyFacts, h, lesion)
		}
	}
}

// laboratoryReport is the report that the panel was made from, by its newest
// Provenance.
func (w *walk) laboratoryReport(p node) any {
	var found any
	newest := ""
	for _, by := range w.kinds["Provenance"] {
		if !by.names("target", p) || by.text("recorded") < newest {
			continue
		}
		for _, entity := range by.list("entity") {
			if what := entity.in("what"); what.text("type") == "DiagnosticReport" {
				found, newest = w.named(what), by.text("recorded")
			}
		}
	}
	return found
}

// specimen reads handling, containers and what the laboratory said of them.
func (w *walk) specimen(s node) {
	if w.to(s, "parent") != nil {
		return
	}
	lesion := w.lesionOfSpecimen(s)
	if lesion == nil {
		return
	}
	for _, step := range s.list("processing") {
		switch own := code(step.in("procedure")); {
		case own == "handling-pinned":
			put(lesion, "specimen/pinned_at", step.text("timeDateTime"))
		case own == "handling-fixed" || groups()[own] == "fixative":
			put(lesion, "specimen/fixed_at", step.text("timeDateTime"))
		}
	}
	notes := s.list("note")
	if len(notes) > 0 {
		put(lesion, "specimen/text", notes[0].text("text"))
	}
	parts := w.partsOf(s)
	if len(parts) == 0 && len(s.list("container")) > 0 {
		pot := w.container(s)
		if len(notes) > 1 {
			put(pot, "content", notes[1].text("text"))
		} else {
			delete(pot, "content")
		}
		put(lesion, "specimen/containers[]", pot)
	}
	for _, part := range parts {
		put(lesion, "specimen/containers[]", w.container(part))
	}
}

// lesionOfSpecimen goes by the facts that name both the specimen and the place.
func (w *walk) lesionOfSpecimen(s node) map[string]any {
	for _, o := range w.kinds["Observation"] {
		if o.names("specimen", s) {
			if n := w.lesionOf(o, "focus"); n != 0 {
				return w.lesions[n]
			}
		}
	}
	return nil
}

// partsOf are the containers of a specimen that left in several, in the order
// in which they are described ("Container 2 of 3").
func (w *walk) partsOf(s node) []node {
	var parts []node
	for _, candidate := range w.kinds["Specimen"] {
		if candidate.names("parent", s) {
			parts = append(parts, candidate)
		}
	}
	sortBy(parts, func(n node) string {
		for _, box := range n.list("container") {
			number := strings.Fields(box.text("description"))
			if len(number) > 1 {
				return strings.Repeat("0", max(0, 4-len(number[1]))) + number[1]
			}
		}
		return ""
	})
	return parts
}

func (w *walk) container(s node) map[string]any {
	pot := map[string]any{}
	for _, box := range s.list("container") {
		put(pot, "identifier", businessIdentifier(box))
		put(pot, "pieces", box.in("specimenQuantity")["value"])
	}
	put(pot, "accession", businessIdentifier(node{"identifier": s["accessionIdentifier"]}))
	put(pot, "received_at", s.text("receivedTime"))
	put(pot, "content", s.firstNote())
	return pot
}

// events reads what went wrong, each from its Observation, its AdverseEvent and
// the Procedures that it needed.
func (w *walk) events() {
	var events []node
	for _, o := range w.kinds["Observation"] {
		adverse := w.to(o, "focus")
		if code(o.in("code")) != "adverse-event-panel" || adverse == nil {
			continue
		}
		e := map[string]any{}
		put(e, "kind", said(o))
		put(e, "text", o.firstNote())
		put(e, "occurred_at", adverse.text("date"))
		put(e, "recognised_at", adverse.text("detected"))
		put(e, "recorded_at", adverse.text("recordedDate"))
		for _, suspect := range adverse.list("suspectEntity") {
			if n := w.lesionOf(suspect, "instance"); n != 0 {
				e["lesion"] = n
			}
		}
		for _, c := range o.list("component") {
			name := code(c.in("code"))
			if path := eventParts[name]; path != "" {
				put(e, path, said(c))
			}
			if name == "event-interventions" {
				put(e, "interventions[]", w.intervention(said(c), adverse))
			}
		}
		events = append(events, e)
	}
	sortBy(events, func(e node) string { return e.text("recorded_at") + e.text("kind") })
	for _, e := range events {
		put(w.tree, "events[]", map[string]any(e))
	}
}

// intervention finds the Procedure of a kind that is done for the event's
// Condition, each once. Without a Condition there is no way to it, and only the
// kind is known.
func (w *walk) intervention(kind any, adverse node) map[string]any {
	out := map[string]any{"kind": kind}
	condition := w.to(adverse, "resultingCondition")
	for _, p := range w.kinds["Procedure"] {
		if p["taken"] != nil || !p.names("reasonReference", condition) || meaning(p.in("code")) != kind {
			continue
		}
		p["taken"] = true
		put(out, "at", p.text("performedDateTime"))
		for _, used := range p.list("usedCode") {
			put(out, "with[]", tools[code(used)])
		}
		return out
	}
	return out
}

// tools are the tools of haemostasis by the code of the device.
var tools = map[string]any{"device-knife": "knife", "instrument-haemostatic-forceps": "haemostatic-forceps", "device-clip": "clip"}
