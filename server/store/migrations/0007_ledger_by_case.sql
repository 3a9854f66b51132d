-- A case's part of the ledger lies together. By role key alone, which is as good
-- as random, each of a hundred rows of a case would go into another page of an
-- index that no memory holds once cases have piled up.
CREATE TABLE ledger_by_case (
    case_key   TEXT   NOT NULL,
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
    PRIMARY KEY (case_key, target, role_key)
);
INSERT INTO ledger_by_case (case_key, target, role_key, role, type, server_id, version, hash, body, sequence, voided, written_at)
    SELECT case_key, target, role_key, role, type, server_id, version, hash, body, sequence, voided, written_at FROM ledger
    ORDER BY case_key, target, role_key;
DROP TABLE ledger;
ALTER TABLE ledger_by_case RENAME TO ledger;
