package fhir

import (
	"cmp"
	"slices"
	"strings"

	"enbloc/mapping/report"
)

// byNumber is the order in which lesions are told, whatever order they came in.
func byNumber(lesions []report.Lesion) []report.Lesion {
	out := slices.Clone(lesions)
	slices.SortStableFunc(out, func(a, b report.Lesion) int { return cmp.Compare(a.Number, b.Number) })
	return out
}

// lesionTitle names a lesion by place, shape and size.
func lesionTitle(e report.Examination) string {
	shape := ""
	for _, p := range e.Paris {
		if report.Known(p) {
			shape += "+" + strings.TrimPrefix(string(p), "0-")
		}
	}
	if shape != "" {
		shape = "0-" + shape[1:]
	}
	place := placeWords(e)
	if len(place) > 1 && strings.Contains(place[1], place[0]) {
		place = place[1:] // "antrum of stomach" names the organ
	}
	return strings.Join(nonEmpty(strings.Join(place, ", "), shape, size(e.SizeLongMm, e.SizeShortMm, "mm")), "; ")
}

// lesionPart tells one lesion from what was seen to what the pathologist said.
func lesionPart(x *xhtml, l report.Lesion) {
	x.table(examinationRows(l.Examination)...)
	x.paragraph(l.Comment)
	if l.Resection == nil {
		x.paragraph("Seen and left: not resected in this session.")
	} else {
		x.table(resectionRows(*l.Resection)...)
	}
	if l.Specimen != nil {
		x.table(specimenRows(*l.Specimen)...)
	}
	switch {
	case l.Histology != nil:
		x.table(histologyRows(*l.Histology)...)
	case l.Resection != nil && l.Specimen != nil && l.Specimen.Retrieved == report.No:
		x.paragraph("No specimen was retrieved: there is nothing for histology.")
	case l.Resection != nil:
		x.paragraph("Histology is pending.")
	}
}

// examinationRows tells what was seen. A stated absence is told: "not assessed"
// is part of what is signed.
func examinationRows(e report.Examination) []row {
	signs := join(named("non-extension sign", said("sign", e.NonExtension)), named("full insufflation:", yesNoWords(e.FullInsufflation)),
		named("converging folds:", yesNoWords(e.ConvergingFolds)), named("muscle ridge:", yesNoWords(e.MuscleRidge)),
		named("rigid arc:", yesNoWords(e.RigidArc)), named("trapezoid elevation:", yesNoWords(e.TrapezoidElevation)),
		named("non-lifting sign", said("sign", e.NonLifting)))
	return []row{
		{"Place", strings.Join(placeWords(e), ", ")},
		{"Distance", join(named("from the incisors", measure(e.DistanceIncisorsCm, "cm")), named("from the anal verge", measure(e.DistanceAnalVergeCm, "cm")))},
		{"Barrett", join(named("C", measure(e.PragueCCm, "cm")), named("M", measure(e.PragueMCm, "cm")))},
		{"Size (estimate)", join(size(e.SizeLongMm, e.SizeShortMm, "mm"), named("height", measure(e.HeightMm, "mm")),
			named("along the axis", measure(e.AxialLengthMm, "mm")), named("circumference", measure(e.CircumferencePct, "%")))},
		{"Shape", join(saidAll("paris", e.Paris, " + "), named("stalk:", yesNoWords(e.Pedicle)), said("lst", e.LST))},
		{"Ulcer or scar", said("ulceration", e.Ulcer)},
		{"Papilla involved", yesNoWords(e.Papilla)}, {"More tumours in the organ", yesNoWords(e.Multiple)},
		{"Optical diagnosis", join(said("nice", e.NICE), said("jnet", e.JNET), saidAll("kudo", e.Kudo, ", "),
			named("demarcation line:", yesNoWords(e.Demarcation)), named("vessels:", said("pattern", e.MicroVessel)),
			named("surface:", said("pattern", e.MicroSurf)), named("white opaque substance:", yesNoWords(e.WhiteOpaque)))},
		{"Signs", signs}, {"Endoscopic ultrasound", said("layer", e.EUSDepth)},
		{"Earlier biopsies", saidAll("histology-type", e.BiopsyTypes, ", ")},
		{"Expected", join(said("histology-type", e.PredictedHistology), said("predicted-depth", e.PredictedDepth),
			measure(e.PredictedSMUm, "µm"), said("clinical-n", e.ClinicalN))},
		{"Malignancy suspected", yesNoWords(e.SuspectMalignant)},
		{"Position", join(said("position", e.PatientPosition), said("gravity", e.Gravity))},
		{"Access", said("access", e.Access)},
	}
}

// resectionRows tells what was done, step by step.
func resectionRows(r report.Resection) []row {
	rows := []row{
		{"Technique", join(label("technique", r.Technique), named("planned:", said("technique", r.Planned)), saidAll("aid", r.Aids, ", "))},
		{"Completion", joinText(r.StopText, said("completion", r.Completion), said("stop-reason", r.StopReason))},
		{"Time line", timeLine(r.Phases)},
		{"Marking", markingWords(r.Marking)},
	}
	for _, i := range r.Injections {
		rows = append(rows, row{"Injection", join(injectedText(i), measure(i.VolumeML, "mL"), named("first side:", said("side", i.FirstSide)),
			said("extent", i.Extent), said("lift", i.Lift), said("injection-timing", i.Timing))})
	}
	if r.Incision != nil {
		rows = append(rows, row{"Incision", join(said("extent", r.Incision.Extent), named("began on the", said("side", r.Incision.Began)))})
	}
	rows = append(rows, row{"Trimming", yesNoWords(r.Trimming)}, row{"Instruments", saidAll("instrument", r.Knives, ", ")})
	for _, s := range r.Settings {
		rows = append(rows, row{"Setting as entered", join(label("step", s.Step), said("instrument", s.Instrument), said("output", s.Output),
			named("effect", measure(s.Effect, "")), named("at most", measure(s.MaxW, "W")))})
	}
	return append(rows, bleedingRows(r)...)
}

// bleedingRows tells vessels, bleeding and the state of the defect at the end.
func bleedingRows(r report.Resection) []row {
	var rows []row
	for _, v := range r.Vessels {
		rows = append(rows, row{"Vessel", join(said("vessel-size", v.Size), said("vessel-when", v.When), said("vessel-tool", v.With), named("number", measure(v.Count, "")))})
	}
	bled := yesNoWords(r.BleedingOccurred)
	if bled == "" && len(r.Bleeding) > 0 {
		bled = "yes"
	}
	rows = append(rows, row{"Bleeding", bled})
	for _, b := range r.Bleeding {
		rows = append(rows, row{"Bleeding spell", join(between(b.Start, b.End), said("bleeding-kind", b.Kind), saidAll("vessel-tool", b.StoppedBy, ", "))})
	}
	if b := r.Base; b != nil {
		rows = append(rows, row{"Base coagulated", join(yesNoWords(b.Done), said("vessel-tool", b.With), between(b.Start, b.End))})
	}
	rows = append(rows, row{"Fibrosis", said("fibrosis", r.Fibrosis)}, row{"Muscle", said("muscle-injury", r.Muscle)})
	if c := r.Closure; c != nil {
		rows = append(rows, row{"Closure", join(said("closure-result", c.Result), saidAll("closure-means", c.Means, ", "), measure(c.Clips, "clips"))})
	}
	return append(rows, row{"Pieces", measure(r.Pieces, "")}, row{"Visible residual", yesNoWords(r.VisibleResidual)},
		row{"Defect", join(named("length", measure(r.DefectLengthMm, "mm")), named("circumference", measure(r.DefectCircumferencePct, "%")))},
		row{"Against stricture", said("stricture-prevention", r.StricturePrevention)})
}

// timeLine is the phases in the order of the report, by the clock.
func timeLine(phases []report.Phase) string {
	out := make([]string, len(phases))
	for i, p := range phases {
		out[i] = lowerFirst(label("step", p.Step)) + " " + between(p.Start, p.End)
	}
	return join(out...)
}

func markingWords(k *report.Marking) string {
	if k == nil {
		return ""
	}
	return join(yesNoWords(k.Done), named("distance", measure(k.DistanceMm, "mm")), named("oral side marked:", yesNoWords(k.OralSideMarked)))
}

// specimenRows tells what was handed to the laboratory.
func specimenRows(s report.Specimen) []row {
	containers := ""
	if len(s.Containers) > 0 {
		containers = count(len(s.Containers), "container", "containers")
	}
	return []row{
		{"Specimen", joinText(s.Text, named("retrieved:", yesNoWords(s.Retrieved)), size(s.SizeLongMm, s.SizeShortMm, "mm"), said("orientation", s.Orientation),
			named("pinned:", yesNoWords(s.Pinned)), named("photographed:", yesNoWords(s.Photo)), said("fixative", s.Fixative), containers)},
	}
}

// histologyRows tells what the pathologist found, with the state of that report.
func histologyRows(h report.Histology) []row {
	undifferentiated := ""
	if u := h.Undifferentiated; u != nil {
		undifferentiated = join(yesNoWords(u.Present), measure(u.SizeMm, "mm"), named("in the submucosa:", yesNoWords(u.InSubmucosa)))
	}
	state := map[report.HistologyStatus]string{report.HistologyPreliminary: "preliminary", report.HistologyFinal: "final",
		report.HistologyAmended: "amended", report.HistologyCorrected: "corrected"}[h.Status]
	return []row{
		{"Histology", join(saidAll("histology-type", h.Types, ", "), state+", issued "+moments(h.IssuedAt))},
		{"Undifferentiated part", undifferentiated},
		{"Grade", join(said("grade", h.Grade), named("worst:", said("grade", h.WorstGrade)), said("dysplasia", h.Dysplasia))},
		{"Depth", join(said("pt", h.PT), measure(h.DepthUm, "µm"), said("depth-from", h.DepthFrom))},
		{"Margins", join(said("horizontal-margin", h.HorizontalMargin), measure(h.HorizontalDistanceMm, "mm"),
			said("vertical-margin", h.VerticalMargin), measure(h.VerticalDistanceUm, "µm"))},
		{"Vessels", join(said("lymphatic-invasion", h.LymphaticInvasion), said("venous-invasion", h.VenousInvasion),
			said("lymphovascular-invasion", h.Lymphovascular))},
		{"Budding", join(said("budding", h.Budding), named("buds", measure(h.BuddingCount, "")))},
		{"Ulcer or scar in histology", said("ulceration", h.Ulcer)},
		{"Tumour on the map", size(h.TumourLongMm, h.TumourShortMm, "mm")},
		{"Text", h.Text},
	}
}
