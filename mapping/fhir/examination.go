package fhir

import (
	"strconv"

	"enbloc/mapping/fhir/model"
	"enbloc/mapping/report"
)

// examination maps what was seen of a lesion before its removal. The facts are
// part of the session, not of the resection: a lesion that was seen and left
// has none.
func (m *mapper) examination(l report.Lesion, at string) {
	e := l.Examination
	p := m.newPanel(partReport, lesionRole(l)+"/examination", at+"/examination",
		m.ref(roleSession), m.rep.Session.Start.Text())
	p.base.Focus = model.Refs(m.ref(lesionRole(l) + "/site"))
	p.location(e)
	p.extent(e)
	p.morphology(e)
	p.optical(e)
	p.depthSigns(e)
	p.ranked("biopsy-histology", "biopsy_types", "histology-type", texts(e.BiopsyTypes))
	p.fact("predicted-histology", "predicted_histology", coded(m, "histology-type", e.PredictedHistology))
	p.fact("predicted-depth", "predicted_depth", coded(m, "predicted-depth", e.PredictedDepth))
	p.fact("predicted-sm-depth", "predicted_sm_depth_um", m.number(e.PredictedSMUm, micrometre))
	p.fact("clinical-n", "clinical_n", coded(m, "clinical-n", e.ClinicalN))
	p.fact("suspected-malignancy", "suspected_malignancy", m.answer(e.SuspectMalignant))
	p.fact("patient-position", "patient_position", coded(m, "position", e.PatientPosition))
	p.fact("gravity", "gravity", coded(m, "gravity", e.Gravity))
	place := m.place(l)
	p.base.BodySite = &place
	p.group("lesion-endoscopic-panel", "Endoscopic findings, lesion "+strconv.Itoa(l.Number), l.Comment)
}

// location says as a fact what the BodyStructure says as a place: a rule's
// input has to be an Observation.
func (p *panel) location(e report.Examination) {
	o := p.observation("lesion-location")
	if report.Known(e.Site) {
		coded(p.m, "site", e.Site).say(o)
	} else {
		coded(p.m, "organ", e.Organ).say(o)
	}
	p.m.component(o, "location-organ", coded(p.m, "organ", e.Organ))
	p.m.component(o, "location-third", coded(p.m, "third", e.Third))
	p.m.component(o, "location-wall", coded(p.m, "wall", e.Wall))
	p.m.component(o, "location-mucosa", coded(p.m, "mucosa", e.Mucosa))
	p.put("lesion-location", o, "organ", "site", "third", "wall", "mucosa")
	p.fact("distance-incisors", "distance_incisors_cm", p.m.number(e.DistanceIncisorsCm, centimetre))
	p.fact("distance-anal-verge", "distance_anal_verge_cm", p.m.number(e.DistanceAnalVergeCm, centimetre))
	p.fact("prague-c", "prague_c_cm", p.m.number(e.PragueCCm, centimetre))
	p.fact("prague-m", "prague_m_cm", p.m.number(e.PragueMCm, centimetre))
}

// extent maps sizes: estimates, never overwritten by the pathologist's.
func (p *panel) extent(e report.Examination) {
	const estimate = "method-endoscopic-estimate"
	p.measured("lesion-size-long", "size_long_mm", p.m.number(e.SizeLongMm, millimetre), estimate)
	p.measured("lesion-size-short", "size_short_mm", p.m.number(e.SizeShortMm, millimetre), estimate)
	p.measured("lesion-height", "height_mm", p.m.number(e.HeightMm, millimetre), estimate)
	p.measured("lesion-axial-length", "axial_length_mm", p.m.number(e.AxialLengthMm, millimetre), estimate)
	p.measured("lesion-circumference", "circumference_pct", p.m.number(e.CircumferencePct, percent), estimate)
	p.fact("lesion-circumferential", "circumferential", p.m.answer(e.Circumferential))
}

// morphology maps shape and surroundings.
func (p *panel) morphology(e report.Examination) {
	p.ranked("paris-type", "paris", "paris", texts(e.Paris))
	p.fact("pedicle", "pedicle", p.m.answer(e.Pedicle))
	p.fact("lst-subtype", "lst", coded(p.m, "lst", e.LST))
	p.fact("endoscopic-ulceration", "ulceration", coded(p.m, "ulceration", e.Ulcer))
	p.fact("access-quality", "access", coded(p.m, "access", e.Access))
	p.fact("papilla-involved", "involves_papilla", p.m.answer(e.Papilla))
	p.fact("multiple-tumours", "multiple_tumours", p.m.answer(e.Multiple))
}

// optical maps the optical diagnosis. Vessel and surface are coordinates of a
// JNET class, and facts of their own where vessel-plus-surface is read.
func (p *panel) optical(e report.Examination) {
	p.fact("nice-class", "nice", coded(p.m, "nice", e.NICE))
	if v := coded(p.m, "jnet", e.JNET); v.reported() || e.JNETVessel != "" || e.JNETSurface != "" {
		o := p.observation("jnet-class")
		v.say(o)
		p.m.component(o, "jnet-vessel-component", coded(p.m, "jnet-vessel", e.JNETVessel))
		p.m.component(o, "jnet-surface-component", coded(p.m, "jnet-surface", e.JNETSurface))
		p.put("jnet-class", o, "jnet", "jnet_vessel", "jnet_surface")
	}
	p.ranked("kudo-pattern", "kudo", "kudo", texts(e.Kudo))
	const magnified = "method-magnifying-image-enhanced"
	p.measured("demarcation-line", "demarcation_line", p.m.answer(e.Demarcation), magnified)
	p.measured("microvascular-pattern", "microvascular_pattern", coded(p.m, "pattern", e.MicroVessel), magnified)
	p.measured("microsurface-pattern", "microsurface_pattern", coded(p.m, "pattern", e.MicroSurf), magnified)
	p.measured("white-opaque-substance", "white_opaque_substance", p.m.answer(e.WhiteOpaque), magnified)
}

// depthSigns maps signs of depth. The non-extension sign counts only on full
// insufflation, so that is its method when it was done.
func (p *panel) depthSigns(e report.Examination) {
	method := ""
	if e.FullInsufflation == report.Yes {
		method = "method-full-insufflation"
	}
	p.measured("non-extension-sign", "non_extension_sign", coded(p.m, "sign", e.NonExtension), method)
	p.fact("full-insufflation", "full_insufflation", p.m.answer(e.FullInsufflation))
	p.fact("converging-folds", "converging_folds", p.m.answer(e.ConvergingFolds))
	p.fact("muscle-ridge", "muscle_ridge", p.m.answer(e.MuscleRidge))
	p.fact("rigid-arc", "rigid_arc", p.m.answer(e.RigidArc))
	p.fact("trapezoid-elevation", "trapezoid_elevation", p.m.answer(e.TrapezoidElevation))
	p.fact("non-lifting-sign", "non_lifting_sign", coded(p.m, "sign", e.NonLifting))
	p.fact("eus-depth", "eus_depth", coded(p.m, "layer", e.EUSDepth))
}
