package check

import (
	"slices"

	"enbloc/mapping/report"
)

func dialysisMissing(r *report.Report, say say) {
	if anyLesion(r, gastricDissection) && !report.Known(beforeOf(r).Haemodialysis) {
		say("/before/haemodialysis", "It is not known whether the patient is on haemodialysis; the bleeding score after gastric ESD needs it.", "Answer yes or no.")
	}
}

func implantWithoutPrecaution(r *report.Report, say say) {
	b := beforeOf(r)
	active := report.Known(b.Implant) && b.Implant != report.ImplantNone
	if active && (!report.Known(b.ImplantPrecaution) || b.ImplantPrecaution == report.PrecautionNone) {
		say("/before/implant_precaution", "The patient has an active implant, and no precaution is recorded.", "Add what was done about it.")
	}
}

// monopolar reports whether the technique sends current through the patient to
// a neutral electrode.
func monopolar(l *report.Lesion) bool {
	t := resectionOf(l).Technique
	return t != "" && t != report.ColdSnare && t != report.FullThickness
}

func neutralElectrodeMissing(r *report.Report, say say) {
	if b := beforeOf(r); b.NeutralElectrodeSite == "" && b.ImplantPrecaution != report.PrecautionBipolarOnly && anyLesion(r, monopolar) {
		say("/before/neutral_electrode_site", "Current was used, and the site of the neutral electrode is not recorded.", "Add where it was stuck.")
	}
}

const doseList = "/before/sedation/drugs"

func doses(r *report.Report) []report.Dose {
	if s := beforeOf(r).Sedation; s != nil {
		return s.Drugs
	}
	return nil
}

func doseMissing(r *report.Report, say say) {
	for i, d := range doses(r) {
		if !d.DoseMg.Reported() && !d.DoseUg.Reported() {
			say(at(doseList, i), "The drug has no dose.", "Add the total dose as dose_mg or dose_ug, or say why it is not known.")
		}
	}
}

func doseInTwoUnits(r *report.Report, say say) {
	for i, d := range doses(r) {
		if d.DoseMg.Known() && d.DoseUg.Known() {
			say(at(doseList, i)+"/dose_ug", "The drug has a dose in milligrams and another in micrograms.", "Keep the one total dose, in one unit.")
		}
	}
}

// notSedating are drugs that are given for the session without sedation.
var notSedating = []report.SedationDrug{report.Butylscopol, report.Glucagon, report.OtherDrug}

func sedationNoneWithDrugs(r *report.Report, say say) {
	s := beforeOf(r).Sedation
	if s == nil || s.Depth != report.SedationNone {
		return
	}
	for i, d := range s.Drugs {
		if !slices.Contains(notSedating, d.Drug) {
			say("/before/sedation/depth", "No sedation is recorded, and yet a sedative or an analgesic ("+at(doseList, i)+") was given.", "Check depth and drugs.")
			return
		}
	}
}

func drugAfterSession(r *report.Report, say say) {
	for i, d := range doses(r) {
		if earlier(r.Session.End, d.GivenAt) {
			say(at(doseList, i)+"/given_at", "A drug for the session was given after its end.", "Check the time.")
		}
	}
}

func bostonMissing(r *report.Report, say say) {
	if anyLesion(r, colorectal) && beforeOf(r).Boston == nil {
		say("/before/boston", "The bowel preparation is not scored.", "Add the Boston scale: 0 to 3 points for each segment that was seen.")
	}
}

func bostonOutOfContext(r *report.Report, say say) {
	if beforeOf(r).Boston != nil && !anyLesion(r, colorectal) {
		say("/before/boston", "The Boston scale belongs to the colon, and the report has no colorectal lesion.", "Check the organs, or remove the scale.")
	}
}

func earlierAfterSession(r *report.Report, say say) {
	for i, e := range beforeOf(r).Earlier {
		day := r.Session.Start.Day()
		if d := string(e.Date); d != "" && day != "" && d > day[:min(len(d), len(day))] {
			say(at("/before/earlier", i)+"/date", "What was done earlier is dated after the session.", "Check the date.")
		}
	}
}

func earlierECuraElsewhere(r *report.Report, say say) {
	organ := map[int]report.Organ{}
	for _, l := range r.Lesions {
		organ[l.Number] = l.Examination.Organ
	}
	for i, e := range beforeOf(r).Earlier {
		o, named := organ[e.Lesion]
		if named && o != report.Stomach && (e.ECura != "" || e.Indication != "") {
			say(at("/before/earlier", i), "A class of the gastric guideline is given for an earlier resection of the "+string(o)+".", "Check lesion and class; eCura and its indications belong to the stomach.")
		}
	}
}

func recurrenceWithoutResection(r *report.Report, say say) {
	b := beforeOf(r)
	treated := func(e report.Earlier) bool { return e.Kind != report.EarlierBiopsy }
	if b.Indication == report.IntentRecurrence && !slices.ContainsFunc(b.Earlier, treated) {
		say("/before/earlier", "The indication is a local recurrence, and no earlier treatment is listed.", "Add the earlier treatment with its date.")
	}
}
