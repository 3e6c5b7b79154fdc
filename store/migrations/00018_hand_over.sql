-- +goose Up
-- A joint on a bench was put into the hands of another person: the readings of its run that come later are theirs.
CREATE TABLE witnessmark.hand_over (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, run bigint NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX hand_over_run ON witnessmark.hand_over (shop, run);
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.hand_over
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.hand_over ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.hand_over TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, bench, run, person) ON witnessmark.hand_over TO witnessmark_writer;
