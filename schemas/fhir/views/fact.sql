-- Every fact and answer of a case with its value as the report spells it.
-- word: a value of an enumeration, yes or no, or a stated absence. number: a figure.
SELECT o.case_key, o.id, o.code, o.status, o.derived, o.part_of, o.place, o.condition, o.event, o.specimen, o.from_time, o.to_time, o.issued, o.method,
       coalesce(v.value, CASE o.value_answer WHEN '373066001' THEN 'yes' WHEN '373067005' THEN 'no' END,
                CASE o.absent WHEN 'unknown' THEN 'unknown' WHEN 'not-performed' THEN 'not-assessed' WHEN 'not-applicable' THEN 'not-applicable' END) AS word,
       o.value_number AS number
FROM enbloc_observation o LEFT JOIN enbloc_value v ON v.code = o.value_code
