-- What the last preflight found of each target. The document is the preflight's
-- own JSON; what has to be known to deliver stands beside it.
CREATE TABLE targets (
    target          TEXT   NOT NULL PRIMARY KEY,
    rung            BIGINT NOT NULL,
    first_write     TEXT   NOT NULL,
    usable          BIGINT NOT NULL,
    capability_hash TEXT   NOT NULL,
    document        BLOB   NOT NULL,
    checked_at      BIGINT NOT NULL
);
