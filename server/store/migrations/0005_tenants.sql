-- Whose case a row is about: where several sites share a store, the process of
-- one must neither show nor send what belongs to another.
ALTER TABLE deliveries ADD COLUMN tenant TEXT NOT NULL DEFAULT '';
UPDATE deliveries SET tenant = (SELECT c.tenant FROM cases c WHERE c.case_key = deliveries.case_key)
    WHERE EXISTS (SELECT 1 FROM cases c WHERE c.case_key = deliveries.case_key);
