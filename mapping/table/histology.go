package table

import "enbloc/mapping/report"

func found(name, source, description string, get func(h *report.Histology) string) Column {
	return words(name, "lesions[].histology."+source, description, func(a *at) string { return get(a.lesion.Histology) })
}

func foundFigure(name, unit, source, description string, get func(h *report.Histology) report.Number) Column {
	return figure(name, unit, "lesions[].histology."+source, description, func(a *at) report.Number { return get(a.lesion.Histology) })
}

var histologyColumns = []Column{
	key(), lesionNumber(),
	required(found("status", "status", "State of the laboratory's report.", func(h *report.Histology) string { return string(h.Status) })),
	cells("issued_date", Day, "", "lesions[].histology.issued_at", "Day on which the laboratory issued it.", func(a *at) Value { return day(a.lesion.Histology.IssuedAt.Day()) }),
	found("types", "types", "Histological types in order of amount, parted by semicolons.", func(h *report.Histology) string { return joined(h.Types) }),
	found("dominant_type", "types[0]", "Dominant histological type.", func(h *report.Histology) string { return first(h.Types) }),
	found("grade", "grade", "Grade of the dominant part.", func(h *report.Histology) string { return string(h.Grade) }),
	found("worst_grade", "worst_grade", "Grade of the least differentiated part.", func(h *report.Histology) string { return string(h.WorstGrade) }),
	found("dysplasia", "dysplasia", "Grade of intraepithelial neoplasia.", func(h *report.Histology) string { return string(h.Dysplasia) }),
	found("pt", "pt", "Depth category.", func(h *report.Histology) string { return string(h.PT) }),
	foundFigure("depth_um", "um", "depth_um", "Depth of submucosal invasion.", func(h *report.Histology) report.Number { return h.DepthUm }),
	found("depth_from", "depth_from", "Line that the depth was measured from.", func(h *report.Histology) string { return string(h.DepthFrom) }),
	found("horizontal_margin", "horizontal_margin", "Tumour at the horizontal margin.", func(h *report.Histology) string { return string(h.HorizontalMargin) }),
	found("vertical_margin", "vertical_margin", "Tumour at the vertical margin.", func(h *report.Histology) string { return string(h.VerticalMargin) }),
	foundFigure("horizontal_distance_mm", "mm", "horizontal_distance_mm", "Distance of the tumour from the horizontal margin.", func(h *report.Histology) report.Number { return h.HorizontalDistanceMm }),
	foundFigure("vertical_distance_um", "um", "vertical_distance_um", "Distance of the tumour from the vertical margin.", func(h *report.Histology) report.Number { return h.VerticalDistanceUm }),
	found("lymphatic_invasion", "lymphatic_invasion", "Lymphatic invasion.", func(h *report.Histology) string { return string(h.LymphaticInvasion) }),
	found("venous_invasion", "venous_invasion", "Venous invasion.", func(h *report.Histology) string { return string(h.VenousInvasion) }),
	found("lymphovascular_invasion", "lymphovascular_invasion", "Where the laboratory does not tell the two apart.", func(h *report.Histology) string { return string(h.Lymphovascular) }),
	found("budding", "budding", "Tumour budding (Lugli, Mod Pathol 2017;30:1299).", func(h *report.Histology) string { return string(h.Budding) }),
	found("ulceration", "ulceration", "Ulceration under the microscope.", func(h *report.Histology) string { return string(h.Ulcer) }),
	foundFigure("tumour_long_mm", "mm", "tumour_long_mm", "Long diameter of the tumour on the map.", func(h *report.Histology) report.Number { return h.TumourLongMm }),
	foundFigure("tumour_short_mm", "mm", "tumour_short_mm", "Short diameter of the tumour on the map.", func(h *report.Histology) report.Number { return h.TumourShortMm }),
}
