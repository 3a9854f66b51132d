-- What a target has shown while it was written: that it refuses the rung it was
-- set to (rung is 0 while it does not), or how many entries it takes at once
-- (max_entries is 0 while nothing was refused as too large). A later preflight
-- makes it void.
CREATE TABLE learned (
    target      TEXT   NOT NULL PRIMARY KEY,
    rung        BIGINT NOT NULL,
    refused     BIGINT NOT NULL,
    status      BIGINT NOT NULL,
    stepped_at  BIGINT NOT NULL,
    max_entries BIGINT NOT NULL,
    learned_at  BIGINT NOT NULL
);
