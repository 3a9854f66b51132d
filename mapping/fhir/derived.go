package fhir

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/assess"
	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
	"enbloc/mapping/term"
)

// deference stands in the notes of every derived result whose rule does not
// say so itself.
const deference = "This is what the named rule says about the facts as reported. It decides nothing: " +
	"the local protocol and the responsible licensed clinicians do."

// derived maps what the rules answered. The order of the results does not
// matter; several answers of one rule about one thing are told apart by the
// facts they rest on.
func (m *mapper) derived() {
	m.results = sorted(m.results)
	count := map[string]int{}
	for _, r := range m.results {
		role := m.derivedRole(r)
		if role == "" {
			continue // about a lesion or an event that the report does not have
		}
		count[role]++
		if n := count[role]; n > 1 {
			role += "/" + strconv.Itoa(n)
		}
		m.derive(r, role)
	}
}

// sorted puts results into an order that depends on what they are about and
// rest on, never on the order in which the rules were asked.
func sorted(results []assess.Result) []assess.Result {
	order := make([]*assess.Result, len(results)) // a result is too large to be moved at every step
	for i := range results {
		order[i] = &results[i]
	}
	slices.SortStableFunc(order, func(a, b *assess.Result) int {
		return cmp.Or(cmp.Compare(a.Lesion, b.Lesion), cmp.Compare(a.Event, b.Event), cmp.Compare(a.Rule, b.Rule),
			slices.Compare(a.Inputs, b.Inputs), cmp.Compare(a.Title, b.Title), cmp.Compare(a.Answer, b.Answer))
	})
	out := make([]assess.Result, len(order))
	for i, r := range order {
		out[i] = *r
	}
	return out
}

// derivedRole names a result by what it is about and its rule; "" for a lesion
// or event that is not there.
func (m *mapper) derivedRole(r assess.Result) string {
	name := "/derived/" + term.Slug(r.Rule)
	switch {
	case r.Event != "":
		i := slices.IndexFunc(m.rep.Events, func(e report.Event) bool { return e.ID == r.Event })
		if i < 0 {
			return ""
		}
		return m.eventRole(m.rep.Events[i]) + name
	case r.Lesion != 0:
		i := m.lesionNumbered(r.Lesion)
		if i < 0 {
			return ""
		}
		return lesionRole(m.rep.Lesions[i]) + name
	}
	return roleSession + name
}

// derive writes one result as an Observation.
func (m *mapper) derive(r assess.Result, role string) {
	part, status := m.partOfResult(r)
	o := &model.Observation{
		Category: []model.CodeableConcept{m.standard("hl7.observation-category.procedure", ""), m.own("derived", "derived-result")},
		Code:     m.ruleCode(r), Subject: &m.subject, Encounter: m.encounter,
		Issued: model.Str(m.issuedOf(part)), Performer: listOf(m.signer), Device: reference(m.ref(m.softwareRole())),
	}
	m.placeResult(o, r, part)
	m.open[role] = status == preliminary && m.state.Observation != preliminary
	m.wider[role] = slices.ContainsFunc(r.Inputs, func(p string) bool { return !ofSpecimen(p) })
	method := model.Text(strings.Join(nonEmpty(r.Guideline, r.Edition, "rule book "+orUnversioned(m.opt.BookVersion)), ", "))
	o.Method = &method
	m.answerOf(r).say(o)
	m.valuesOf(o, r)
	m.riskOf(o, r.Risk)
	m.component(o, "rule-confirmation", coded(m, "mark", confirmation[r.Confirmed]))
	for _, pointer := range r.Missing {
		m.component(o, "missing-input", words(pointer))
	}
	from, unmapped := m.inputsOf(r.Inputs)
	o.DerivedFrom = model.Refs(from...)
	o.Note = m.notesOf(r, unmapped)
	m.emit(part, role, o, model.Status(status), nil)
}

// confirmation is how far a rule is confirmed, as a concept.
var confirmation = map[assess.Confirmed]string{
	assess.Primary: "mark-primary", assess.SecondHand: "mark-second-hand", assess.Transcription: "mark-transcription",
	assess.Memory: "mark-memory", assess.Arithmetic: "mark-arithmetic",
}

// ruleCode is our concept for what the rule answers; a rule that is younger
// than the code table goes as a derived result with its question in words.
func (m *mapper) ruleCode(r assess.Result) model.CodeableConcept {
	name := term.Slug(r.Rule)
	if _, ok := term.Own("derived", name); !ok {
		name = "derived-result"
	}
	return m.ownText("derived", name, clean(r.Title))
}

// partOfResult says with which part of the case a result came, and its status:
// never more settled than the least settled part it rests on.
func (m *mapper) partOfResult(r assess.Result) (part, status string) {
	part, status = partReport, m.state.Observation
	if r.Event != "" {
		for _, e := range m.rep.Events {
			if e.ID == r.Event {
				return m.eventRole(e), m.eventStatus()
			}
		}
	}
	for _, i := range m.numbers {
		l := m.rep.Lesions[i]
		at := "/lesions/" + strconv.Itoa(i) + "/histology"
		if l.Histology == nil || !slices.ContainsFunc(r.Inputs, func(p string) bool { return p == at || strings.HasPrefix(p, at+"/") }) {
			continue
		}
		histology, err := histologyStatus(l.Histology.Status)
		if err != nil {
			m.fail(err)
		}
		part, status = histologyPart(l), least(status, histology)
	}
	return part, status
}

// ofSpecimen reports whether a pointer leads to what the pathologist found or
// to how the specimen was taken.
func ofSpecimen(pointer string) bool {
	step := strings.SplitN(strings.TrimPrefix(pointer, "/lesions/"), "/", 3)
	return strings.HasPrefix(pointer, "/lesions/") && len(step) > 1 &&
		(step[1] == "histology" || step[1] == "resection" || step[1] == "specimen")
}

// issuedOf is when a part became available, by its own times.
func (m *mapper) issuedOf(part string) string {
	for _, l := range m.rep.Lesions {
		if l.Histology != nil && part == histologyPart(l) {
			return l.Histology.IssuedAt.Text()
		}
	}
	for _, e := range m.rep.Events {
		if part == m.eventRole(e) {
			return e.RecordedAt.Text()
		}
	}
	return m.issued
}

// placeResult says what a result is about: an event; a lesion as a place
// before histology, as a diagnosis after it; or the session.
func (m *mapper) placeResult(o *model.Observation, r assess.Result, part string) {
	o.EffectiveDateTime = model.Str(m.rep.Session.End.Text())
	if r.Event != "" {
		for _, e := range m.rep.Events {
			if e.ID == r.Event {
				o.Encounter, o.EffectiveDateTime = m.eventEncounter(e), model.Str(e.When().Text())
				o.Focus = model.Refs(m.ref(m.eventRole(e) + "/adverse-event"))
			}
		}
		return
	}
	o.PartOf = model.Refs(m.ref(roleSession))
	if i := m.lesionNumbered(r.Lesion); r.Lesion != 0 && i >= 0 {
		l := m.rep.Lesions[i]
		o.EffectiveDateTime = model.Str(m.collected(l))
		o.PartOf, o.Focus = model.Refs(m.performedIn(l)), model.Refs(m.ref(lesionRole(l)+"/site"))
		if part != partReport {
			o.PartOf, o.Focus = nil, model.Refs(m.ref(lesionRole(l)+"/condition"))
		}
	}
}

// inputsOf finds the Observations of what decided. Inputs that are no
// Observation (a time of the session, say) are returned by name.
func (m *mapper) inputsOf(inputs []string) (refs, unmapped []string) {
	for _, pointer := range inputs {
		roles := m.where.find(pointer)
		if len(roles) == 0 {
			unmapped = append(unmapped, describe(pointer))
		}
		for _, role := range roles {
			if ref := m.ref(role); !slices.Contains(refs, ref) {
				refs = append(refs, ref)
			}
		}
	}
	return refs, unmapped
}

// notesOf says in words what a reader needs beside the value: the reason, what
// is missing and what it would decide, cautions, source, and who decides.
func (m *mapper) notesOf(r assess.Result, unmapped []string) []model.Annotation {
	notes := []string{r.Reason}
	if len(r.Missing) > 0 {
		missing := make([]string, len(r.Missing))
		for i, p := range r.Missing {
			missing[i] = describe(p)
		}
		notes = append(notes, "Missing: "+strings.Join(missing, "; ")+". "+r.Decides)
	}
	if len(unmapped) > 0 {
		notes = append(notes, "Inputs that are not Observations: "+strings.Join(unmapped, "; ")+".")
	}
	for _, c := range r.Cautions {
		notes = append(notes, "Caution: "+c)
	}
	if r.Source != "" {
		notes = append(notes, "Source: "+r.Source)
	}
	if !slices.ContainsFunc(r.Cautions, func(c string) bool { return strings.Contains(c, "local protocol") }) {
		notes = append(notes, deference)
	}
	return annotations(notes...)
}

// describe puts a JSON Pointer into words: "/lesions/0/histology/depth_um"
// reads "lesions 1, histology, depth um".
func describe(pointer string) string {
	var words []string
	for _, step := range strings.Split(strings.Trim(pointer, "/"), "/") {
		if n, err := strconv.Atoi(step); err == nil && len(words) > 0 {
			words[len(words)-1] += " " + strconv.Itoa(n+1)
			continue
		}
		words = append(words, strings.ReplaceAll(clean(step), "_", " "))
	}
	return strings.Join(words, ", ")
}

func nonEmpty(list ...string) []string {
	return slices.DeleteFunc(list, func(s string) bool { return clean(s) == "" })
}
