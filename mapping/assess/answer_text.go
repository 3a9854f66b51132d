package assess

import (
	"slices"
	"strings"

	"enbloc/mapping/report"
)

// This file says answers in words. Answer and Values are for programs and stay
// as they are; whatever is printed, shown or signed says AnswerText.

// fromMemory stands behind an answer that rests on memory: in a table that
// shows nothing but answers it must not read as a plain fact.
const fromMemory = " (from memory, not confirmed)"

// Text is the answer in words, for results that were not made here too.
func (r Result) Text() string {
	if r.AnswerText != "" {
		return r.AnswerText
	}
	return spoken(r.Answer)
}

// Settled reports whether the answer is one: neither a missing input nor a
// rule that does not concern the lesion.
func (r Result) Settled() bool { return r.Answer != CannotBeAssessed && r.Answer != NotApplicable }

// text is the answer of a rule in words.
func (r *rule) text(out Result) string {
	if !out.Settled() {
		return spoken(out.Answer)
	}
	words, mark := r.framed(out.Answer), fromMemory
	if kind, ok := out.Values["histology"].(string); ok && r.id == "R6.colorectal.jnet" {
		words += ", likely " + lesionsInWords(kind)
		mark = " (next step from memory, not confirmed)" // the reading itself was seen
	}
	if out.Confirmed == Memory {
		words += mark
	}
	return words
}

// framed is one class in words, with what it is a class or figure of.
func (r *rule) framed(class string) string {
	words := r.phrase(class)
	if frame, ok := frames[r.id]; ok && words == spoken(class) && class != "undetermined" {
		words = strings.Replace(frame, "*", words, 1)
	}
	return words
}

// says is one class as hints name it ("not R0 if positive"). The grades of
// eCura go bare, as they are spoken of.
func (r *rule) says(class string) string {
	if words, ok := hints[r.id][class]; ok {
		return words
	}
	if r.id == "R2.gastric.curability.ecura" {
		return class
	}
	return r.framed(class)
}

// phrase is one class in the words of its rule or of its family of rules.
func (r *rule) phrase(class string) string {
	for _, p := range []map[string]string{phrases[r.id], phrases[family(r.id)]} {
		if words, ok := p[class]; ok {
			return words
		}
	}
	return spoken(class)
}

// family finds the wording that rules of one kind share.
func family(id string) string {
	for _, f := range []string{"R11.surveillance.", "R4.bleed.", ".esge2022"} {
		if strings.Contains(id, f) {
			return f
		}
	}
	return ""
}

// spoken turns a class into words where no rule has words of its own.
func spoken(class string) string {
	if words, ok := everyRule[class]; ok {
		return words
	}
	if drugs := saidOfDrugs(class); drugs != class {
		return drugs
	}
	if strings.ToLower(class) != class || strings.ContainsAny(class, " ,:;") {
		return class
	}
	return strings.ReplaceAll(class, "-", " ")
}

// everyRule holds the classes that say the same in every rule.
var everyRule = map[string]string{
	CannotBeAssessed:       "cannot be assessed",
	NotApplicable:          "not applicable",
	"not-by-this-rule":     "not covered by this rule",
	"not-named":            "no ground for ESD named",
	"complete-r0":          "complete (R0)",
	"en-bloc-not-complete": "en bloc, not complete",
	"none-named":           "no interval named",
	"not-triggered":        "not called for",
	"outside-criteria":     "outside the criteria",
	"undetermined":         "left open by the source",
	"non-cancer":           "non-cancer",
	"non-neoplastic":       "non-neoplastic",
	"follow-up":            "follow-up",
}

// frames put a bare class or figure into what it is a class or figure of.
var frames = map[string]string{
	"R2.gastric.curability.ecura": "eCura *",
	"R3.gastric.lnm.ecura_score":  "* risk",
	"R4.bleed.debe":               "* points",
	"R5.oeso.scc.jcog0508":        "group *",
	"R5.oeso.eac.curability":      "* the criteria",
	"R6.colorectal.jnet":          "type *",
	"R6.colorectal.kudo":          "reads as *",
	"R6.colorectal.smsa":          "level *",
	"R8.gastric.vs":               "reads as *",
	"R9.ae.sydney_dmi":            "type *",
	"R9.ae.agree2022":             "grade *",
	"R9.ae.delayed_bleed_window":  "delayed bleeding within *",
	"R9.ae.hb_fall":               "criterion *",
	"R9.ae.pecs":                  "definition *",
	"R10.metric.specimen_area":    "* mm²",
	"R10.metric.speed":            "* cm²/h",
	"R10.metric.phase_durations":  "* min",
}

// hints are the words for yes and no where they stand without the question.
var hints = map[string]map[string]string{
	"R10.metric.en_bloc":            {"yes": "en bloc", "no": "not en bloc"},
	"R10.metric.complete.korea2020": {"yes": "complete", "no": "not complete"},
	"R10.metric.r0":                 {"yes": "R0", "no": "not R0"},
}

// phrases are the words of single classes, by rule or by family of rules.
var phrases = map[string]map[string]string{
	"R1.gastric.indication.jges2020": {"absolute-EMR-or-ESD": "absolute indication (EMR or ESD)", "absolute-ESD": "absolute indication (ESD)",
		"expanded": "expanded indication", "relative": "relative indication at most"},
	"R1.gastric.indication.esge2015": {"absolute": "absolute criteria", "dysplasia": "within the criteria (dysplasia)",
		"expanded-A": "expanded criteria A", "expanded-B": "expanded criteria B", "expanded-C": "expanded criteria C", "expanded-D": "expanded criteria D"},
	"R1.gastric.indication.korea2020": {"G3": "recommended (statement G3)", "G4": "suggested (statement G4)", "G5": "suggested (statement G5)",
		"none": "in none of the statements G3 to G5"},
	".esge2022": {"very-low": "very low risk", "low": "low risk", "local": "risk of local recurrence only", "high": "high risk",
		"EMR-acceptable": "EMR is acceptable", "ESD-treatment-of-choice": "ESD is the treatment of choice",
		"ESD-suggested": "ESD is suggested", "ESD-may-be-considered": "ESD may be considered"},
	"R7.duodenum.esge2021": {"cold-snare-suggested": "cold snare is suggested", "EMR-first-line": "EMR is first line"},
	"R2.gastric.next.jges2020": {"local-options": "repeat ESD, ablation, close follow-up or surgery",
		"local-options-or-surgery": "surgery in principle or local options, by size and margin"},
	"R4.bleed.": {"low": "low risk", "intermediate": "intermediate risk", "high": "high risk", "very-high": "very high risk",
		"low-medium": "low to medium risk", "average": "average risk"},
	"R4.bleed.debe":                    {"1": "1 point"},
	"R5.oeso.scc.curability.korea2020": {"close-follow-up-can-be-considered": "close follow-up can be considered"},
	"R6.colorectal.jnet":               {"undetermined": "undetermined, vessels and surface disagree"},
	"R5.oeso.scc.curability.jes": {"non-curative, further treatment recommended": "not curative, further treatment recommended",
		"non-curative, further treatment undetermined": "not curative, further treatment left open"},
	"R5.oeso.scc.indication.jes":            {"indicated": "ESD is indicated"},
	"R5.oeso.stricture.korea2020":           {"recommended": "steroid prophylaxis recommended"},
	"R5.oeso.stricture.jes2022":             {"recommended": "prevention recommended"},
	"R5.oeso.barrett.surveillance.esge2023": {"5y": "every 5 years", "3y": "every 3 years", "expert-centre": "in an expert centre"},
	"R6.colorectal.nice": {"hyperplastic": "likely hyperplastic", "adenoma (incl. superficial SM cancer)": "likely adenoma, superficial submucosal cancer included",
		"deep SM cancer": "likely deep submucosal cancer"},
	"R6.colorectal.kudo_vi":             {"massive-SM": "massive submucosal invasion", "dysplasia-or-shallow-SM": "dysplasia or shallow submucosal invasion"},
	"R8.colorectal.lst_smi_size":        {"not-a-spreading-tumour": "too small for a laterally spreading tumour"},
	"R8.gastric.nes":                    {"SM2": "500 µm or more into the submucosa", "M-SM1": "within the mucosa or less than 500 µm below it"},
	"R8.colorectal.nes":                 {"SM 1000 µm or more": "1000 µm or more into the submucosa", "SM below 1000 µm": "less than 1000 µm into the submucosa"},
	"R9.ae.asge2010":                    {"incident": "incident, not an adverse event"},
	"R9.ae.agree2022":                   {"none": "no adverse event in this scale"},
	"R9.ae.delayed_bleed_window":        {"none": "none of the definitions met"},
	"R11.surveillance.gastric.h_pylori": {"eradication": "eradication advised", "test": "testing advised", "none": "no infection to treat"},
	"R11.surveillance.": {"1y": "after 1 year", "3y": "after 3 years", "6mo": "after 6 months", "3-5y": "after 3 to 5 years", "7-10y": "after 7 to 10 years",
		"3-6mo-then-12mo": "after 3 to 6 months, then after 12 months", "3-6mo-then-yearly": "after 3 to 6 months, then yearly",
		"3mo-then-1y": "after 3 months, then after 1 year", "endoscopy-6-to-12mo": "endoscopy every 6 to 12 months",
		"endoscopy-6-to-12mo-and-imaging": "endoscopy every 6 to 12 months and imaging", "by-decision": "next treatment decides"},
}

// lesionsInWords spells out the short forms of the optical tables.
func lesionsInWords(short string) string {
	return strings.NewReplacer("/SSL", " polyp or sessile serrated lesion", "/shallow SM", " neoplasia or shallow submucosal cancer",
		"low-grade intramucosal", "low-grade intramucosal neoplasia", "deep SM", "deep submucosal cancer").Replace(short)
}

// stepInWords spells out the next step that the JNET table names.
func stepInWords(step string) string {
	switch step {
	case "endoscopic":
		return "endoscopic resection"
	case "follow-up or resect":
		return "follow-up or resection"
	}
	return step
}

// drugNames are the classes of antithrombotics as they are spoken of.
var drugNames = map[report.DrugClass]string{
	report.P2Y12: "P2Y12 antagonist", report.DOAC: "direct oral anticoagulant", report.LMWHeparin: "low molecular weight heparin",
	report.OtherAntiplatelet: "other antiplatelet", report.OtherAnticoagulant: "other anticoagulant",
}

func drugName(c report.DrugClass) string {
	if name, ok := drugNames[c]; ok {
		return name
	}
	return string(c)
}

// saidOfDrugs puts the names of the drugs into an answer about several.
func saidOfDrugs(answer string) string {
	parts := strings.Split(answer, "; ")
	for i, p := range parts {
		class, advice, ok := strings.Cut(p, ": ")
		if ok && slices.Contains(slices.Concat(antiplatelets, anticoagulants), report.DrugClass(class)) {
			parts[i] = drugName(report.DrugClass(class)) + ": " + advice
		}
	}
	return strings.Join(parts, "; ")
}

// opening is an answer at the beginning of a sentence. eCura is written so.
func opening(words string) string {
	if words == "" || strings.HasPrefix(words, "eCura") {
		return words
	}
	return strings.ToUpper(words[:1]) + words[1:]
}
