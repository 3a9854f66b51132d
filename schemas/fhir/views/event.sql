-- One row per event that was not retracted.
SELECT e.case_key, e.id AS event, max(l.lesion) AS lesion,
       max(f.word) AS kind,
       max(p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-timing-component') AS timing,
       coalesce(max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'onset-day'),
                max(date_diff('day', CAST(substr(s.to_time, 1, 10) AS DATE), CAST(substr(e.detected, 1, 10) AS DATE)))) AS day,
       CASE WHEN bool_or(p.code = 'event-symptoms' AND p.word IN ('haematemesis', 'melaena', 'haematochezia')) THEN 'yes'
            WHEN bool_or(p.code = 'event-symptoms') AND bool_or(p.code = 'event-unstable' AND p.word = 'yes') THEN 'yes'
            WHEN bool_or(p.code = 'event-symptoms') THEN 'no' END AS bleeding_sign,
       max(p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-unstable') AS unstable,
       max(p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-emergency-endoscopy') AS emergency_endoscopy,
       max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-hb-before') AS hb_before_g_dl,
       max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-hb-after') AS hb_after_g_dl,
       max(p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-transfusion') AS transfusion,
       string_agg(p.word, ';' ORDER BY p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-interventions') AS interventions,
       max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-nights') AS unplanned_nights,
       max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-icu-nights') AS icu_nights,
       max(p.number) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-admission-time') AS admission_h,
       max(p.word) FILTER (f.code = 'adverse-event-panel' AND p.code = 'event-outcome-status') AS outcome,
       max(answer.severity_asge) AS severity_asge, max(answer.severity_agree) AS severity_agree,
       max(answer.delayed_bleeding_15d) AS delayed_bleeding_15d, max(answer.delayed_bleeding_28d) AS delayed_bleeding_28d, max(answer.delayed_bleeding_30d) AS delayed_bleeding_30d
FROM enbloc_event e JOIN fact f ON f.event = e.id AND f.code = 'adverse-event-panel' LEFT JOIN part p ON p.id = f.id
LEFT JOIN numbered l ON l.resection = e.suspect
LEFT JOIN enbloc_procedure s ON s.case_key = e.case_key AND s.code LIKE 'session-kind-%' AND s.part_of IS NULL
LEFT JOIN (SELECT a.event, max(a.answer) FILTER (a.rule = 'R9.ae.asge2010') AS severity_asge, max(a.answer) FILTER (a.rule = 'R9.ae.agree2022') AS severity_agree,
                  max(coalesce(CASE x.def15 WHEN true THEN 'yes' WHEN false THEN 'no' END, 'cannot-be-assessed')) FILTER (a.rule = 'R9.ae.delayed_bleed_window') AS delayed_bleeding_15d,
                  max(coalesce(CASE x.def28 WHEN true THEN 'yes' WHEN false THEN 'no' END, 'cannot-be-assessed')) FILTER (a.rule = 'R9.ae.delayed_bleed_window') AS delayed_bleeding_28d,
                  max(coalesce(CASE x.def30 WHEN true THEN 'yes' WHEN false THEN 'no' END, 'cannot-be-assessed')) FILTER (a.rule = 'R9.ae.delayed_bleed_window') AS delayed_bleeding_30d
           FROM answer a LEFT JOIN (SELECT id, bool_or(truth) FILTER (code = 'value-def15') AS def15, bool_or(truth) FILTER (code = 'value-def28') AS def28, bool_or(truth) FILTER (code = 'value-def30') AS def30 FROM part GROUP BY id) x ON x.id = a.id
           GROUP BY a.event) answer ON answer.event = e.id
GROUP BY e.case_key, e.id
