package table

import (
	"strings"

	"enbloc/mapping/report"
)

// seen is a column of the examination.
func seen(name, source, description string, get func(e *report.Examination) string) Column {
	return words(name, "lesions[].examination."+source, description, func(a *at) string { return get(&a.lesion.Examination) })
}

func measured(name, unit, source, description string, get func(e *report.Examination) report.Number) Column {
	return figure(name, unit, "lesions[].examination."+source, description, func(a *at) report.Number { return get(&a.lesion.Examination) })
}

var lesionColumns = []Column{
	key(), lesionNumber(),
	required(seen("organ", "organ", "Organ.", func(e *report.Examination) string { return string(e.Organ) })),
	seen("site", "site", "Part of the organ.", func(e *report.Examination) string { return string(e.Site) }),
	seen("third", "third", "Third of stomach or oesophagus.", func(e *report.Examination) string { return string(e.Third) }),
	seen("wall", "wall", "Side of the organ.", func(e *report.Examination) string { return string(e.Wall) }),
	seen("mucosa", "mucosa", "Lining that an oesophageal lesion arises from.", func(e *report.Examination) string { return string(e.Mucosa) }),
	measured("size_long_mm", "mm", "size_long_mm", "Long diameter as seen by the endoscopist.", func(e *report.Examination) report.Number { return e.SizeLongMm }),
	measured("size_short_mm", "mm", "size_short_mm", "Short diameter as seen by the endoscopist.", func(e *report.Examination) report.Number { return e.SizeShortMm }),
	measured("circumference_pct", "%", "circumference_pct", "Share of the circumference that the lesion takes.", func(e *report.Examination) report.Number { return e.CircumferencePct }),
	seen("paris", "paris", "Paris types, the dominant one first, joined by +.", func(e *report.Examination) string {
		return strings.ReplaceAll(joined(e.Paris), ";", "+")
	}),
	seen("paris_dominant", "paris[0]", "Dominant Paris type.", func(e *report.Examination) string { return first(e.Paris) }),
	seen("lst", "lst", "Subtype of a lateral-spreading tumour.", func(e *report.Examination) string { return string(e.LST) }),
	seen("ulceration", "ulceration", "Ulcer or scar, as seen.", func(e *report.Examination) string { return string(e.Ulcer) }),
	seen("access", "access", "How well the endoscope reached the lesion.", func(e *report.Examination) string { return string(e.Access) }),
	seen("multiple_tumours", "multiple_tumours", "More tumours than this one in the organ.", func(e *report.Examination) string { return string(e.Multiple) }),
	seen("nice", "nice", "NICE class.", func(e *report.Examination) string { return string(e.NICE) }),
	seen("jnet", "jnet", "JNET class.", func(e *report.Examination) string { return string(e.JNET) }),
	seen("non_lifting_sign", "non_lifting_sign", "Non-lifting sign.", func(e *report.Examination) string { return string(e.NonLifting) }),
	seen("biopsy_types", "biopsy_types", "Histology of earlier biopsies, in order of amount, parted by semicolons.", func(e *report.Examination) string { return joined(e.BiopsyTypes) }),
	seen("predicted_histology", "predicted_histology", "Histology that the endoscopist expected.", func(e *report.Examination) string { return string(e.PredictedHistology) }),
	seen("predicted_depth", "predicted_depth", "Depth that the endoscopist expected.", func(e *report.Examination) string { return string(e.PredictedDepth) }),
	cells("resected", Boolean, "", "lesions[].resection", "Resected, or the resection was begun.", func(a *at) Value { return boolean(a.lesion.Resection != nil) }),
	answered("indication_jges", "R1.gastric.indication.jges2020", "Indication class of a gastric lesion by JGES, 2nd edition."),
	answered("indication_jes", "R5.oeso.scc.indication.jes", "Indication of a squamous oesophageal lesion by JES/JGES."),
}
