-- Every answer of a rule. An answer that is neither yes, no, an absence nor one of
-- our concepts stands in the record in words only and is left out here.
SELECT f.case_key, f.id, v.value AS rule, f.event, coalesce(l.lesion, e.lesion) AS lesion, f.method,
       CASE f.word WHEN 'unknown' THEN 'cannot-be-assessed' ELSE f.word END AS answer, f.number
FROM fact f LEFT JOIN enbloc_value v ON v.code = f.code
LEFT JOIN numbered l ON l.place = f.place OR l.condition = f.condition
LEFT JOIN (SELECT v.id, max(n.lesion) AS lesion FROM enbloc_event v JOIN numbered n ON n.resection = v.suspect GROUP BY v.id) e ON e.id = f.event
WHERE f.derived
