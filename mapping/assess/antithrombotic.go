package assess

import (
	"slices"
	"strconv"
	"strings"

	"enbloc/mapping/report"
)

// advice is what a guideline says about one class of drug.
type advice struct {
	when      string
	class     report.DrugClass
	applies   func(c drugCase) truth // whether the line applies
	says      string
	values    map[string]any
	confirmed Confirmed
}

// drugCase is one drug in one session.
type drugCase struct {
	drug     report.Antithrombotic
	resected bool  // the session resected something; else it was diagnostic or biopsies
	esd      bool  // by dissection
	inRange  truth // INR not above 3.0; unknown when it is not reported
	highRisk truth // thrombotic risk as judged locally
}

func anyway(drugCase) truth           { return yes }
func whenResected(c drugCase) truth   { return truthOf(c.resected) }
func whenDiagnostic(c drugCase) truth { return truthOf(!c.resected) }
func whenInRange(c drugCase) truth    { return c.inRange }
func whenAboveRange(c drugCase) truth { return not(fact{is: c.inRange}).is }
func whenHighRisk(c drugCase) truth   { return c.highRisk }
func whenLowRisk(c drugCase) truth    { return not(fact{is: c.highRisk}).is }

// advised makes a rule that goes through the drugs of the session one by one.
func advised(r rule, lines []advice) *rule {
	r.scope = ScopeSession
	r.applies = func(k *look) bool {
		return slices.ContainsFunc(k.before().Antithrombotics, func(a report.Antithrombotic) bool {
			return slices.ContainsFunc(lines, func(l advice) bool { return l.class == a.Class })
		})
	}
	for i := range lines {
		if lines[i].confirmed == "" {
			lines[i].confirmed = r.confirmed
		}
		r.table = append(r.table, Row{string(lines[i].class) + ", " + lines[i].when, lines[i].says, lines[i].confirmed})
	}
	r.ask = func(r *rule, k *look) Result { return r.askDrugs(k, lines) }
	return &r
}

// askDrugs collects what the lines say. With several drugs each value carries
// the name of its drug.
func (r *rule) askDrugs(k *look, lines []advice) Result {
	inr := k.session("/before/inr", "INR", "", k.before().INR)
	risk := k.add(finding{path: "/before/thrombotic_risk", name: "thrombotic risk", isSign: true, why: why(report.AbsenceOf(k.before().ThromboticRisk))})
	out := r.result(k)
	out.Values, out.Confirmed = map[string]any{}, Arithmetic
	var said []string
	for i, a := range k.before().Antithrombotics {
		c := k.drugCase(a, inr)
		used := false
		for _, l := range lines {
			if l.class != a.Class || l.applies(c) == no {
				continue
			}
			if l.applies(c) == unknown {
				if l.hangsOn(c, func(c *drugCase, is truth) { c.inRange = is }) {
					out.Missing = appendNew(out.Missing, inr.pointer())
				}
				if l.hangsOn(c, func(c *drugCase, is truth) { c.highRisk = is }) {
					out.Missing = appendNew(out.Missing, risk.pointer())
				}
				continue
			}
			used = true
			said = append(said, string(a.Class)+": "+l.says)
			out.Confirmed = weaker(out.Confirmed, l.confirmed)
			for name, v := range l.values {
				if len(k.before().Antithrombotics) > 1 {
					name = string(a.Class) + "." + name
				}
				out.Values[name] = v
			}
		}
		if used {
			out.Inputs = append(out.Inputs, "/before/antithrombotics/"+strconv.Itoa(i)+"/class")
		}
	}
	return r.closeDrugs(k, out, said)
}

// hangsOn reports whether the line turns on one part of the case.
func (l advice) hangsOn(c drugCase, put func(c *drugCase, is truth)) bool {
	put(&c, yes)
	with := l.applies(c)
	put(&c, no)
	return with != l.applies(c)
}

func (k *look) drugCase(a report.Antithrombotic, inr *finding) drugCase {
	c := drugCase{drug: a, inRange: inr.atMost(3).is}
	for i := range k.rep.Lesions {
		if r := k.rep.Lesions[i].Resection; r != nil {
			c.resected = true
			c.esd = c.esd || r.Technique.Dissects()
		}
	}
	if risk := k.before().ThromboticRisk; report.Known(risk) {
		c.highRisk = truthOf(risk == report.RiskHigh)
	}
	return c
}

func (r *rule) closeDrugs(k *look, out Result, said []string) Result {
	if len(said) == 0 {
		out.Answer, out.Confirmed = CannotBeAssessed, r.confirmed
		out.Values = nil
		out.Inputs = []string{"/before/antithrombotics"}
		var lacks []string
		for _, at := range out.Missing {
			lacks = append(lacks, map[string]string{"/before/inr": "INR", "/before/thrombotic_risk": "thrombotic risk"}[at]+" not reported")
		}
		out.Reason = "Cannot be assessed: " + strings.Join(lacks, ", ") + "."
		if len(out.Missing) == 0 {
			out.Answer, out.Reason = NotApplicable, "The guideline has no confirmed line for this drug and procedure."
		}
		return r.finish(k, out)
	}
	out.Answer = strings.Join(said, "; ")
	out.Reason = "The guideline says of the drugs reported: " + saidOfDrugs(out.Answer) + "."
	return r.finish(k, out)
}

const byWhom = "Information about the published text: who prescribes the drug and who knows the bleeding and the thrombotic risk decide together."

// JGES 2012 and supplement 2017.
var ruleAntithromboticJGES = advised(rule{
	id: "R14.antithrombotic.jges2017", title: "Antithrombotics around the procedure (JGES)", from: jges2017, confirmed: SecondHand,
	cautions: []string{byWhom, "Heparin bridging may raise bleeding.", "ESD counts as a procedure of high bleeding risk."},
}, []advice{
	{when: "resection", class: report.DOAC, applies: whenResected, says: "last dose the day before, none on the day, again the next morning",
		values: map[string]any{"last_dose": "day before", "stop": "morning of procedure", "resume": "next morning"}},
	{when: "diagnostic or biopsy", class: report.DOAC, applies: whenDiagnostic, says: "no interruption; biopsies away from the peak level",
		values: map[string]any{"interrupt": false}},
	{when: "INR not above 3.0", class: report.Warfarin, applies: whenInRange, says: "no interruption while the INR is in range, or a swap to a direct oral anticoagulant in non-valvular atrial fibrillation",
		values: map[string]any{"interrupt": false}},
	{when: "INR above 3.0", class: report.Warfarin, applies: whenAboveRange, says: "no biopsy with an INR above 3.0", values: map[string]any{"biopsy": "avoid"}},
	{when: "thrombotic risk high", class: report.Aspirin, applies: whenHighRisk, says: "continued", values: map[string]any{"interrupt": false}},
	{when: "thrombotic risk low", class: report.Aspirin, applies: whenLowRisk, says: "if stopped, 3 to 5 days", values: map[string]any{"stop": "3-5 days before"}, confirmed: Primary},
	{when: "thrombotic risk low", class: report.P2Y12, applies: whenLowRisk, says: "stopped 5 to 7 days", values: map[string]any{"stop": "5-7 days before"}, confirmed: Primary},
	{when: "thrombotic risk high", class: report.P2Y12, applies: whenHighRisk, says: "swap to aspirin or cilostazol", values: map[string]any{"swap": "aspirin or cilostazol"}},
})

// JGES 2012: resuming after haemostasis.
var ruleResume = advised(rule{
	id: "R14.antithrombotic.resume.jges2012", title: "Resuming antithrombotics (JGES)", from: jges2017, confirmed: Primary,
	cautions: []string{byWhom},
}, resumeLines())

func resumeLines() []advice {
	var out []advice
	for _, class := range append(slices.Clone(antiplatelets), anticoagulants...) {
		out = append(out, advice{when: "interrupted for a resection", class: class, applies: func(c drugCase) truth {
			return truthOf(c.resected && (c.drug.Management == report.Interrupted || c.drug.Management == report.Replaced))
		}, says: "the same drug again once haemostasis is confirmed at endoscopy", values: map[string]any{"resume": "after confirmed haemostasis"}})
	}
	return out
}

// BSG/ESGE 2016.
var ruleAntithromboticBSG2016 = advised(rule{
	id: "R14.antithrombotic.bsg_esge2016", title: "Antithrombotics around the procedure (BSG/ESGE 2016)", from: bsgESGE2016, confirmed: Primary,
	cautions: []string{byWhom, "Stopping clopidogrel is given as 7 days (an older text), 5 days (2016) or 7 days (2021, from memory): mind the edition."},
}, []advice{
	{when: "ESD", class: report.Aspirin, applies: func(c drugCase) truth { return truthOf(c.esd) }, says: "stopping may be considered for ESD", values: map[string]any{"interrupt": "consider"}},
	{when: "other", class: report.Aspirin, applies: func(c drugCase) truth { return truthOf(!c.esd) }, says: "continued, except that stopping may be considered for large EMR and ampullectomy",
		values: map[string]any{"interrupt": false}},
	{when: "resection, thrombotic risk low", class: report.P2Y12, applies: func(c drugCase) truth { return all(fact{is: whenResected(c)}, fact{is: whenLowRisk(c)}).is },
		says: "stopped 5 days", values: map[string]any{"stop": "5 days before"}},
	{when: "resection, thrombotic risk high", class: report.P2Y12, applies: func(c drugCase) truth { return all(fact{is: whenResected(c)}, fact{is: whenHighRisk(c)}).is },
		says: "aspirin goes on, cardiology is asked", values: map[string]any{"ask": "cardiology"}},
	{when: "resection, thrombotic risk low", class: report.Warfarin, applies: func(c drugCase) truth { return all(fact{is: whenResected(c)}, fact{is: whenLowRisk(c)}).is },
		says: "stopped 5 days, INR below 1.5 on the day, again that evening", values: map[string]any{"stop": "5 days before", "resume": "same evening"}, confirmed: SecondHand},
	{when: "diagnostic or biopsy", class: report.DOAC, applies: whenDiagnostic, says: "the morning dose is left out", values: map[string]any{"stop": "morning of procedure"}},
})

// BSG/ESGE 2021, from memory, and so off by default.
var ruleAntithromboticBSG2021 = advised(rule{
	id: "R14.antithrombotic.bsg_esge2021", title: "Antithrombotics around the procedure (BSG/ESGE 2021)", from: bsgESGE2021, confirmed: Memory,
	cautions: []string{byWhom},
}, []advice{
	{when: "resection, thrombotic risk low", class: report.P2Y12, applies: func(c drugCase) truth { return all(fact{is: whenResected(c)}, fact{is: whenLowRisk(c)}).is },
		says: "stopped 7 days", values: map[string]any{"stop": "7 days before"}},
	{when: "resection, thrombotic risk low", class: report.Warfarin, applies: func(c drugCase) truth { return all(fact{is: whenResected(c)}, fact{is: whenLowRisk(c)}).is },
		says: "stopped 5 days, INR below 1.5, again in the evening", values: map[string]any{"stop": "5 days before", "resume": "same evening"}},
	{when: "resection", class: report.DOAC, applies: whenResected, says: "last dose at least 3 days before, again after 2 to 3 days",
		values: map[string]any{"stop": "3 days before", "resume": "after 2-3 days"}},
})
