-- A database as the first version of the program left it: its tables, and one case
-- at its second state. Never change it: it stands for databases that exist.
-- Times are microseconds since 1970-01-01T00:00:00Z: both engines sort them and
-- neither has an opinion about zones.

CREATE TABLE cases (
    case_key   TEXT   NOT NULL PRIMARY KEY,
    tenant     TEXT   NOT NULL,
    source     TEXT   NOT NULL,
    report_id  TEXT   NOT NULL,
    sequence   BIGINT NOT NULL,
    revision   BIGINT NOT NULL,
    status     TEXT   NOT NULL,
    summary    BLOB   NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL
);
-- The business key: one case per report of a source system.
CREATE UNIQUE INDEX cases_report ON cases (tenant, source, report_id);
-- Pages of the list, newest first.
CREATE INDEX cases_list ON cases (tenant, created_at, case_key);

CREATE TABLE documents (
    id          TEXT   NOT NULL PRIMARY KEY,
    case_key    TEXT   REFERENCES cases (case_key),
    tenant      TEXT   NOT NULL,
    source      TEXT   NOT NULL,
    kind        TEXT   NOT NULL,
    part_id     TEXT   NOT NULL,
    revision    BIGINT NOT NULL,
    hash        TEXT   NOT NULL,
    body        BLOB   NOT NULL,
    state       TEXT   NOT NULL,
    received_at BIGINT NOT NULL
);
-- One body per revision of a part: the second sender of a race gets a conflict.
CREATE UNIQUE INDEX documents_part ON documents (tenant, kind, source, part_id, revision);
CREATE INDEX documents_case ON documents (case_key, kind);
CREATE INDEX documents_parked ON documents (tenant, id) WHERE state = 'parked';

CREATE TABLE document_keys (
    document_id TEXT NOT NULL REFERENCES documents (id),
    tenant      TEXT NOT NULL,
    name        TEXT NOT NULL,
    system      TEXT NOT NULL,
    value       TEXT NOT NULL,
    PRIMARY KEY (document_id, name, system, value)
);
CREATE INDEX document_keys_match ON document_keys (tenant, name, system, value);

CREATE TABLE case_keys (
    case_key TEXT NOT NULL REFERENCES cases (case_key),
    tenant   TEXT NOT NULL,
    name     TEXT NOT NULL,
    system   TEXT NOT NULL,
    value    TEXT NOT NULL,
    PRIMARY KEY (case_key, name, system, value)
);
CREATE INDEX case_keys_match ON case_keys (tenant, name, system, value);

-- A state of a case is the set of documents that counted when it was reached.
CREATE TABLE states (
    case_key    TEXT   NOT NULL REFERENCES cases (case_key),
    sequence    BIGINT NOT NULL,
    document_id TEXT   NOT NULL REFERENCES documents (id),
    PRIMARY KEY (case_key, sequence, document_id)
);

CREATE TABLE deliveries (
    id            TEXT   NOT NULL PRIMARY KEY,
    case_key      TEXT   NOT NULL,
    sequence      BIGINT NOT NULL,
    target        TEXT   NOT NULL,
    state         TEXT   NOT NULL,
    reason        TEXT   NOT NULL,
    explanation   TEXT   NOT NULL,
    details       BLOB   NOT NULL,
    attempts      BIGINT NOT NULL,
    uncertain     BIGINT NOT NULL,
    next_attempt  BIGINT NOT NULL,
    job_id        BIGINT NOT NULL,
    claimed_by    TEXT   NOT NULL,
    claimed_until BIGINT NOT NULL,
    created_at    BIGINT NOT NULL,
    updated_at    BIGINT NOT NULL
);
CREATE UNIQUE INDEX deliveries_once ON deliveries (case_key, target, sequence);
-- At most one worker, in whatever process, sends for a case to a target.
CREATE UNIQUE INDEX deliveries_one_sender ON deliveries (case_key, target) WHERE state = 'sending';
-- The open rows stay few however many are done.
CREATE INDEX deliveries_open ON deliveries (next_attempt) WHERE state IN ('waiting', 'sending', 'retrying', 'parked');
CREATE INDEX deliveries_state ON deliveries (state, id);
CREATE INDEX deliveries_target ON deliveries (target, id);

CREATE TABLE attempts (
    delivery_id TEXT   NOT NULL REFERENCES deliveries (id),
    number      BIGINT NOT NULL,
    started_at  BIGINT NOT NULL,
    duration_us BIGINT NOT NULL,
    http_status BIGINT NOT NULL,
    class       TEXT   NOT NULL,
    reason      TEXT   NOT NULL,
    diagnostics TEXT   NOT NULL,
    request_id  TEXT   NOT NULL,
    PRIMARY KEY (delivery_id, number)
);

-- What stands on a target because we put it there. case_key is empty for what
-- serves many cases.
CREATE TABLE ledger (
    target     TEXT   NOT NULL,
    role_key   TEXT   NOT NULL,
    case_key   TEXT   NOT NULL,
    role       TEXT   NOT NULL,
    type       TEXT   NOT NULL,
    server_id  TEXT   NOT NULL,
    version    TEXT   NOT NULL,
    hash       TEXT   NOT NULL,
    body       BLOB   NOT NULL,
    sequence   BIGINT NOT NULL,
    voided     BIGINT NOT NULL,
    written_at BIGINT NOT NULL,
    PRIMARY KEY (target, role_key)
);
-- With the role key in it: else SQLite walks the whole target to get the order.
CREATE INDEX ledger_case ON ledger (target, case_key, role_key);

-- The highest state of a case that stands complete on a target.
CREATE TABLE delivered (
    target     TEXT   NOT NULL,
    case_key   TEXT   NOT NULL,
    sequence   BIGINT NOT NULL,
    written_at BIGINT NOT NULL,
    PRIMARY KEY (target, case_key)
);

CREATE TABLE idempotency (
    tenant       TEXT   NOT NULL,
    key          TEXT   NOT NULL,
    request_hash TEXT   NOT NULL,
    status       BIGINT NOT NULL,
    content_type TEXT   NOT NULL,
    body         BLOB   NOT NULL,
    created_at   BIGINT NOT NULL,
    PRIMARY KEY (tenant, key)
);
CREATE INDEX idempotency_age ON idempotency (created_at);

CREATE TABLE schema_version (version BIGINT NOT NULL PRIMARY KEY);
INSERT INTO schema_version (version) VALUES (1);
INSERT INTO cases VALUES ('c1', 'T', 'S', 'R', 2, 2, 'amended', '{}', 1767225600000000, 1767225600000000);
INSERT INTO documents VALUES ('d1', 'c1', 'T', 'S', 'report', 'R', 1, 'h1', '{"n":1.5}', 'joined', 1767225600000000);
INSERT INTO documents VALUES ('d2', 'c1', 'T', 'S', 'report', 'R', 2, 'h2', '{"n":1.50}', 'joined', 1767225600000000);
INSERT INTO states VALUES ('c1', 1, 'd1');
INSERT INTO states VALUES ('c1', 2, 'd2');
