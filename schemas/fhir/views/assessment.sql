-- One row per rule and lesion, event or session.
SELECT a.case_key, a.id AS answer_key, a.rule, a.lesion, a.event,
       (SELECT max(substr(n.text, 9)) FROM enbloc_note n WHERE n.id = a.id AND n.text LIKE 'Source: %') AS source,
       (SELECT max(p.word) FROM part p WHERE p.id = a.id AND p.code = 'rule-confirmation') AS confirmed,
       a.answer,
       (SELECT string_agg(p.text, ';' ORDER BY p.text) FROM part p WHERE p.id = a.id AND p.code = 'missing-input') AS missing,
       (SELECT max(p.number) FROM part p WHERE p.id = a.id AND p.code = 'published-risk') AS risk_pct
FROM answer a
