-- +goose Up
-- A part of the record was lost, and a person accepted that it goes on without. The roots are SHA-256 tree roots (RFC 6962): that
-- of the ledger that a checkpoint outside proves, and that of what remains of it.
CREATE TABLE witnessmark.loss (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    size bigint NOT NULL, root bytea NOT NULL, remains bigint NOT NULL, remains_root bytea NOT NULL,
    reason text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.loss
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.loss ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.loss TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, size, root, remains, remains_root, reason, person) ON witnessmark.loss TO witnessmark_writer;
