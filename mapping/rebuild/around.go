package rebuild

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/term"
)

func sortBy(list []node, key func(node) string) {
	slices.SortStableFunc(list, func(a, b node) int { return cmp.Compare(key(a), key(b)) })
}

// session reads the endoscopy: who, when, with what, in which house.
func (w *walk) session() {
	for _, p := range w.kinds["Procedure"] {
		if groups()[code(p.in("code"))] != "session-kind" {
			continue
		}
		put(w.tree, "session/kind", meaning(p.in("code")))
		put(w.tree, "session/start", p.in("performedPeriod").text("start"))
		put(w.tree, "session/end", p.in("performedPeriod").text("end"))
		for _, used := range p.list("usedCode") {
			put(w.tree, "session/endoscope", meaning(used))
		}
		for _, who := range p.list("performer") {
			if role := who.in("function"); len(role) > 0 {
				put(w.tree, "operators[]", map[string]any{"identifier": w.named(who.in("actor")), "role": meaning(role)})
			}
		}
		put(w.tree, "facility", w.named(p.in("location")))
		put(w.tree, "patient/identifier", w.named(p.in("subject")))
		put(w.tree, "encounter", w.named(p.in("encounter")))
		for _, order := range p.list("basedOn") {
			put(w.tree, "order", w.named(order))
		}
		put(w.tree, "before/technique_reason", p.firstNote())
		w.sedation(p)
	}
}

// sedation reads the drugs of the session, in the order of their coding.
func (w *walk) sedation(session node) {
	var drugs []node
	for _, given := range w.kinds["MedicationAdministration"] {
		if !given.names("partOf", session) {
			continue
		}
		drug := map[string]any{}
		put(drug, "drug", meaning(given.in("medicationCodeableConcept")))
		put(drug, "given_at", given.text("effectiveDateTime"))
		dosage := given.in("dosage")
		put(drug, map[string]string{"mg": "dose_mg", "ug": "dose_ug"}[dosage.in("dose").text("code")], dosage.in("dose")["value"])
		if len(dosage.in("route")) > 0 {
			put(drug, "route", meaning(dosage.in("route")))
		}
		drugs = append(drugs, drug)
	}
	sortBy(drugs, func(d node) string { return d.text("drug") + d.text("given_at") })
	for _, d := range drugs {
		put(w.tree, "before/sedation/drugs[]", map[string]any(d))
	}
}

// procedures reads the times of what counts on its own within a resection.
func (w *walk) procedures() {
	for _, p := range w.kinds["Procedure"] {
		lesion := w.lesions[w.lesionOf(p, "partOf")]
		path := map[string]string{"procedure-base-coagulation": "base_coagulation", "procedure-closure": "closure"}[code(p.in("code"))]
		if lesion == nil || path == "" {
			continue
		}
		put(lesion, "resection/"+path+"/start", p.in("performedPeriod").text("start"))
		put(lesion, "resection/"+path+"/end", p.in("performedPeriod").text("end"))
	}
}

// plan reads what is to follow.
func (w *walk) plan() {
	var followUps, referrals []node
	for _, s := range w.kinds["ServiceRequest"] {
		own := code(s.in("code"))
		item := map[string]any{}
		if n := w.lesionOf(s, "reasonReference"); n != 0 {
			item["lesion"] = n
		}
		put(item, "reason", s.firstNote())
		switch groups()[own] {
		case "h-pylori-plan":
			put(w.tree, "plan/h_pylori", meaning(s.in("code")))
		case "referral":
			put(item, "to", meaning(s.in("code")))
			referrals = append(referrals, item)
		case "follow-up", "session-kind": // an endoscopy is planned as that of the organ
			kind := meaning(s.in("code"))
			if groups()[own] == "session-kind" {
				kind = "endoscopy"
			}
			put(item, "kind", kind)
			put(item, "earliest", s.in("occurrencePeriod").text("start"))
			put(item, "latest", s.in("occurrencePeriod").text("end"))
			followUps = append(followUps, item)
		}
	}
	for name, items := range map[string][]node{"follow_ups": followUps, "referrals": referrals} {
		sortBy(items, key)
		for _, item := range items {
			put(w.tree, "plan/"+name+"[]", map[string]any(item))
		}
	}
}

// key orders the items of a plan.
func key(n node) string {
	lesion, _ := n["lesion"].(int)
	return strings.Join([]string{n.text("kind"), n.text("to"), strconv.Itoa(lesion), n.text("earliest"), n.text("latest"), n.text("reason")}, "|")
}

// images reads what is shown where; a title that only repeats the view says
// nothing of its own.
func (w *walk) images() {
	var images []node
	for _, m := range w.kinds["Media"] {
		i := map[string]any{}
		put(i, "url", m.in("content").text("url"))
		put(i, "content_type", m.in("content").text("contentType"))
		put(i, "view", meaning(m.in("view")))
		put(i, "taken_at", m.text("createdDateTime"))
		n := w.lesionOf(m, "partOf")
		if n != 0 {
			i["lesion"] = n
		}
		view, _ := term.Own("view", meaning(m.in("view")))
		if title := m.in("content").text("title"); title != view.Display && !strings.HasPrefix(title, view.Display+", lesion ") {
			put(i, "title", title)
		}
		images = append(images, i)
	}
	sortBy(images, func(i node) string { return i.text("url") })
	for _, i := range images {
		put(w.tree, "images[]", map[string]any(i))
	}
}

// states are the states of a report by the status of its DiagnosticReport.
var states = map[string]string{"preliminary": "draft", "final": "signed", "appended": "signed", "amended": "amended", "corrected": "corrected"}

// envelope reads what the report says of itself.
func (w *walk) envelope() {
	for _, d := range w.kinds["DiagnosticReport"] {
		if id := businessIdentifier(d); id != nil {
			put(w.tree, "report_id", id)
			put(w.tree, "status", states[d.text("status")])
		}
		for _, label := range d.in("meta").list("security") {
			if label.text("code") == "HTEST" {
				put(w.tree, "test_data", true)
			}
		}
	}
	for _, c := range w.kinds["Condition"] {
		if w.number[c.text("§")] != 0 {
			put(w.tree, "written_at", c.text("recordedDate"))
		}
	}
}
