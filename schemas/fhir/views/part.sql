-- Every part of a fact or an answer, in the same way.
SELECT c.case_key, c.id, c.code, c.label, c.value_string AS text, c.value_boolean AS truth, c.value_number AS number, c.value_unit AS unit,
       coalesce(v.value, CASE c.value_answer WHEN '373066001' THEN 'yes' WHEN '373067005' THEN 'no' END,
                CASE c.absent WHEN 'unknown' THEN 'unknown' WHEN 'not-performed' THEN 'not-assessed' WHEN 'not-applicable' THEN 'not-applicable' END) AS word
FROM enbloc_component c LEFT JOIN enbloc_value v ON v.code = c.value_code
