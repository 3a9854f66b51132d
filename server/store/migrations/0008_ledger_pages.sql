-- A case's part of the ledger is one packed row instead of a hundred: an eighth of
-- the room, and of the work to write it. What serves many cases keeps its rows.
CREATE TABLE ledger_pages (
    case_key TEXT NOT NULL,
    target   TEXT NOT NULL,
    entries  BLOB NOT NULL,
    PRIMARY KEY (case_key, target)
);
CREATE TABLE shared_ledger (
    target     TEXT   NOT NULL,
    role_key   TEXT   NOT NULL,
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
INSERT INTO shared_ledger (target, role_key, role, type, server_id, version, hash, body, sequence, voided, written_at)
    SELECT target, role_key, role, type, server_id, version, hash, body, sequence, voided, written_at FROM ledger WHERE case_key = '';
