-- The state at which a case was thinned: bodies that nothing needs any more are
-- gone. A later document makes the case whole work again, and thins it anew.
ALTER TABLE cases ADD COLUMN thinned BIGINT NOT NULL DEFAULT 0;
CREATE INDEX cases_thin ON cases (updated_at) WHERE thinned < sequence;
