-- +goose Up
-- The ledger was signed with another key from an entry on. The keys are verifier's texts (C2SP signed-note).
CREATE TABLE witnessmark.key_change (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    old_key text NOT NULL, new_key text NOT NULL, reason text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.key_change
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.key_change ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.key_change TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, old_key, new_key, reason, person) ON witnessmark.key_change TO witnessmark_writer;
