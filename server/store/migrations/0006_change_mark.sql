-- The mark of change adds up the states of all cases: from this index alone,
-- without reading a row.
CREATE INDEX cases_mark ON cases (tenant, sequence);
