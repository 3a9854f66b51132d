-- One row per session at the endoscope. A withdrawn case keeps its row and loses
-- its content.
SELECT s.case_key,
       CASE WHEN max(s.status) = 'entered-in-error' THEN 'withdrawn' ELSE
         max(CASE d.status WHEN 'preliminary' THEN 'draft' WHEN 'final' THEN 'signed' WHEN 'appended' THEN 'signed' WHEN 'entered-in-error' THEN 'withdrawn' ELSE d.status END) END AS status,
       bool_or(s.test_data) AS test_data,
       max(CASE WHEN s.status <> 'entered-in-error' THEN substr(CAST(s.from_time AS VARCHAR), 1, 10) END) AS session_date,
       max(CASE WHEN s.status <> 'entered-in-error' THEN k.value END) AS session_kind,
       max(CASE WHEN s.status <> 'entered-in-error' THEN epoch(CAST(s.to_time AS TIMESTAMPTZ)) - epoch(CAST(s.from_time AS TIMESTAMPTZ)) END) / 60 AS session_min,
       max(CASE WHEN s.status <> 'entered-in-error' THEN u.value END) AS endoscope,
       max(f.word) FILTER (f.code = 'session-gas') AS gas,
       max(f.word) FILTER (f.code = 'session-cap') AS cap,
       max(f.number) FILTER (f.code = 'age-at-session') AS age_y,
       max(f.word) FILTER (f.code = 'asa-class') AS asa_class,
       max(f.word) FILTER (f.code = 'haemodialysis') AS haemodialysis,
       max(f.word) FILTER (f.code = 'antithrombotic-list') AS antithrombotic_history,
       string_agg(f.word, ';' ORDER BY f.word) FILTER (f.code = 'antithrombotic-agent') AS antithrombotics,
       max(f.word) FILTER (f.code = 'indication') AS indication,
       max(f.word) FILTER (f.code = 'h-pylori-status') AS h_pylori,
       max(f.word) FILTER (f.code = 'sedation-depth') AS sedation_depth,
       max(CASE WHEN s.status <> 'entered-in-error' AND s.operators THEN CASE WHEN s.trainee THEN 'yes' ELSE 'no' END END) AS trainee,
       (SELECT count(*) FROM numbered l WHERE l.case_key = s.case_key) AS lesions,
       (SELECT count(l.resection) FROM numbered l WHERE l.case_key = s.case_key) AS resections,
       (SELECT count(*) FROM event e WHERE e.case_key = s.case_key) AS events
FROM enbloc_procedure s JOIN (SELECT code, value FROM enbloc_value WHERE code LIKE 'session-kind-%') k ON k.code = s.code
LEFT JOIN enbloc_value u ON u.code = s.used LEFT JOIN enbloc_report d ON d.case_key = s.case_key AND d.endoscopic
LEFT JOIN fact f ON f.case_key = s.case_key AND NOT f.derived
WHERE s.part_of IS NULL
GROUP BY s.case_key
