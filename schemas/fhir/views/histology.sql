-- One row per lesion that the laboratory has reported on: the panel is evidence
-- of the lesion's condition, and its members are the findings.
SELECT l.case_key, l.lesion,
       max(a.status) AS status,
       max(substr(CAST(a.issued AS VARCHAR), 1, 10)) AS issued_date,
       coalesce(string_agg(p.word, ';' ORDER BY p.code) FILTER (f.code = 'histological-type' AND p.code LIKE 'rank-%'), max(f.word) FILTER (f.code = 'histological-type')) AS types,
       coalesce(max(p.word) FILTER (f.code = 'histological-type' AND p.code = 'rank-1'), max(f.word) FILTER (f.code = 'histological-type')) AS dominant_type,
       max(f.word) FILTER (f.code = 'histological-grade') AS grade,
       max(f.word) FILTER (f.code = 'worst-histological-grade') AS worst_grade,
       max(f.word) FILTER (f.code = 'dysplasia-grade') AS dysplasia,
       max(f.word) FILTER (f.code = 'pt-category') AS pt,
       max(f.number) FILTER (f.code = 'sm-depth') AS depth_um,
       max(p.word) FILTER (f.code = 'sm-depth' AND p.code = 'depth-base-line') AS depth_from,
       max(f.word) FILTER (f.code = 'horizontal-margin-status') AS horizontal_margin,
       max(f.word) FILTER (f.code = 'vertical-margin-status') AS vertical_margin,
       max(p.number) FILTER (f.code = 'horizontal-margin-status' AND p.code = 'margin-distance') AS horizontal_distance_mm,
       max(p.number) FILTER (f.code = 'vertical-margin-status' AND p.code = 'margin-distance') AS vertical_distance_um,
       max(f.word) FILTER (f.code = 'lymphatic-invasion-status') AS lymphatic_invasion,
       max(f.word) FILTER (f.code = 'venous-invasion-status') AS venous_invasion,
       max(f.word) FILTER (f.code = 'lymphovascular-invasion-status') AS lymphovascular_invasion,
       max(f.word) FILTER (f.code = 'tumour-budding') AS budding,
       max(f.word) FILTER (f.code = 'histological-ulceration') AS ulceration,
       max(f.number) FILTER (f.code = 'tumour-size-long') AS tumour_long_mm,
       max(f.number) FILTER (f.code = 'tumour-size-short') AS tumour_short_mm
FROM numbered l JOIN enbloc_evidence e ON e.id = l.condition JOIN fact a ON a.id = e.panel AND a.code = 'histology-panel'
LEFT JOIN enbloc_member m ON m.id = a.id LEFT JOIN fact f ON f.id = m.member LEFT JOIN part p ON p.id = f.id
GROUP BY l.case_key, l.lesion
