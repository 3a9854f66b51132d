-- One row per lesion that was resected, or whose resection was begun.
-- That no event is on record does not show that none happened: none-recorded.
-- An event that names no lesion came from the only one that was resected; with
-- several nobody knows: cannot-be-assessed.
WITH done AS (
SELECT l.case_key, l.lesion,
       max(f.word) FILTER (f.code = 'resection-technique') AS technique,
       max(p.word) FILTER (f.code = 'resection-technique' AND p.code = 'planned-technique') AS planned_technique,
       string_agg(p.word, ';' ORDER BY p.word) FILTER (f.code = 'resection-technique' AND p.code = 'technique-aid') AS aids,
       max(f.word) FILTER (f.code = 'resection-completion') AS completion,
       max(f.word) FILTER (f.code = 'stop-reason') AS stop_reason,
       max(f.number) FILTER (f.code = 'piece-count') AS pieces,
       max(f.word) FILTER (f.code = 'visible-residual') AS visible_residual,
       max(f.word) FILTER (f.code = 'submucosal-fibrosis') AS fibrosis,
       max(f.word) FILTER (f.code = 'muscle-injury-type') AS muscle_injury,
       max(f.word) FILTER (f.code = 'defect-closure') AS closure,
       max(f.number) FILTER (f.code = 'defect-circumference') AS defect_circumference_pct,
       max(f.word) FILTER (f.code = 'stricture-prevention') AS stricture_prevention,
       max(f.word) FILTER (f.code = 'specimen-retrieved') AS retrieved,
       max(p.word) FILTER (f.code = 'specimen-handling' AND p.code = 'orientation-component') AS orientation,
       max(p.word) FILTER (f.code = 'specimen-handling' AND p.code = 'pinned-component') AS pinned,
       max(p.word) FILTER (f.code = 'specimen-handling' AND p.code = 'fixative-component') AS fixative,
       max(f.number) FILTER (f.code = 'specimen-size-long') AS specimen_long_mm,
       max(f.number) FILTER (f.code = 'specimen-size-short') AS specimen_short_mm,
       (max(epoch(CAST(f.to_time AS TIMESTAMPTZ))) FILTER (f.code = 'resection-step' AND f.word IN ('incision', 'trimming', 'dissection', 'snaring'))
        - min(epoch(CAST(f.from_time AS TIMESTAMPTZ))) FILTER (f.code = 'resection-step' AND f.word = 'incision')) / 60 AS resection_min
FROM numbered l JOIN fact f ON f.place = l.place AND NOT f.derived LEFT JOIN part p ON p.id = f.id
WHERE l.resection IS NOT NULL
GROUP BY l.case_key, l.lesion),
counted AS (SELECT case_key, count(*) AS n FROM done GROUP BY case_key),
happened AS (
SELECT d.case_key, d.lesion, e.kind, e.timing, e.interventions, e.delayed_bleeding_15d, e.delayed_bleeding_28d, e.delayed_bleeding_30d,
       CASE WHEN e.lesion = d.lesion OR (e.lesion IS NULL AND c.n = 1) THEN 2 WHEN e.lesion IS NULL THEN 1 ELSE 0 END AS concerns,
       e.kind = 'bleeding' AND e.timing = 'after' AS bled_late
FROM done d JOIN counted c ON c.case_key = d.case_key JOIN event e ON e.case_key = d.case_key),
folded AS (
SELECT case_key, lesion,
       max(CASE WHEN kind = 'perforation' THEN concerns ELSE 0 END) AS perforation,
       max(CASE WHEN kind = 'perforation' AND timing = 'after' THEN concerns ELSE 0 END) AS delayed_perforation,
       max(concerns) AS any_event,
       max(CASE WHEN list_contains(string_split(interventions, ';'), 'surgery') THEN concerns ELSE 0 END) AS surgery,
       max(CASE WHEN bled_late THEN least(concerns, CASE delayed_bleeding_15d WHEN 'yes' THEN 2 WHEN 'no' THEN 0 ELSE 1 END) ELSE 0 END) AS bled_15d,
       max(CASE WHEN bled_late THEN least(concerns, CASE delayed_bleeding_28d WHEN 'yes' THEN 2 WHEN 'no' THEN 0 ELSE 1 END) ELSE 0 END) AS bled_28d,
       max(CASE WHEN bled_late THEN least(concerns, CASE delayed_bleeding_30d WHEN 'yes' THEN 2 WHEN 'no' THEN 0 ELSE 1 END) ELSE 0 END) AS bled_30d,
       bool_or(bled_late AND concerns = 2) AS bled
FROM happened GROUP BY case_key, lesion),
referred AS (
SELECT l.case_key, l.lesion, max(CASE WHEN r.condition = l.condition OR (r.condition IS NULL AND c.n = 1) THEN 2 WHEN r.condition IS NULL THEN 1 ELSE 0 END) AS surgery
FROM numbered l JOIN counted c ON c.case_key = l.case_key JOIN enbloc_request r ON r.case_key = l.case_key AND r.code = 'referral-surgery'
GROUP BY l.case_key, l.lesion)
SELECT d.*,
       CASE WHEN d.technique IN ('esd', 'hybrid-esd') AND d.resection_min > 0 AND d.specimen_long_mm > 0 AND d.specimen_short_mm > 0
            THEN pi() / 4 * d.specimen_long_mm * d.specimen_short_mm / d.resection_min * 0.6 END AS speed_cm2_h,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.en_bloc') AS en_bloc,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.complete.korea2020') AS complete,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.r0') AS r0,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.curative.esge2022') AS curative_esge,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.curative.jges2020') AS curative_jges,
       (SELECT max(a.answer) FROM answer a WHERE a.case_key = d.case_key AND a.lesion = d.lesion AND a.rule = 'R10.metric.curative.jes') AS curative_jes,
       CASE WHEN d.muscle_injury IN ('IV', 'V') OR h.perforation = 2 THEN 'yes' WHEN h.perforation = 1 THEN 'cannot-be-assessed'
            WHEN d.muscle_injury IN ('0', 'I', 'II', 'III') THEN 'no' ELSE 'cannot-be-assessed' END AS perforation,
       CASE h.delayed_perforation WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE 'none-recorded' END AS delayed_perforation,
       CASE h.bled_15d WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE CASE WHEN h.bled THEN 'no' ELSE 'none-recorded' END END AS delayed_bleeding_15d,
       CASE h.bled_28d WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE CASE WHEN h.bled THEN 'no' ELSE 'none-recorded' END END AS delayed_bleeding_28d,
       CASE h.bled_30d WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE CASE WHEN h.bled THEN 'no' ELSE 'none-recorded' END END AS delayed_bleeding_30d,
       CASE h.any_event WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE 'none-recorded' END AS any_event,
       CASE greatest(coalesce(h.surgery, 0), coalesce(r.surgery, 0)) WHEN 2 THEN 'yes' WHEN 1 THEN 'cannot-be-assessed' ELSE 'none-recorded' END AS surgery_recorded
FROM done d LEFT JOIN folded h ON h.case_key = d.case_key AND h.lesion = d.lesion
LEFT JOIN referred r ON r.case_key = d.case_key AND r.lesion = d.lesion
