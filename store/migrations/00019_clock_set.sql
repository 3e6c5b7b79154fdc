-- +goose Up
-- The clock of the computer was set while the daemon ran, by so many milliseconds, above 0: forward.
CREATE TABLE witnessmark.clock_set (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    by_ms bigint NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.clock_set
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.clock_set ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.clock_set TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, by_ms) ON witnessmark.clock_set TO witnessmark_writer;
