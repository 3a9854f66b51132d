-- Lesions with their numbers, and what leads to them: the Condition by the
-- examination that is its evidence, the resection by the place that it targets.
SELECT p.case_key, p.id AS place, CAST(regexp_extract(p.description, '^Lesion ([0-9]+):', 1) AS INTEGER) AS lesion,
       (SELECT min(e.id) FROM enbloc_evidence e JOIN enbloc_observation o ON o.id = e.panel WHERE o.place = p.id) AS condition,
       (SELECT min(r.id) FROM enbloc_procedure r WHERE r.place = p.id AND r.status <> 'entered-in-error') AS resection
FROM enbloc_place p
