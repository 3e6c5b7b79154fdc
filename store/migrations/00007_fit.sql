-- +goose Up
-- What stands between the wrenches of a bench and the fasteners; lengths in nm, the angle in m°. adapter is empty where
-- nothing does any more, wrench where every wrench of the bench is meant.
CREATE TABLE witnessmark.adapter (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, wrench text NOT NULL, adapter text NOT NULL, wrench_length bigint NOT NULL, extension bigint NOT NULL,
    angle bigint NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- How far a wrench may deviate by its class, in millionths; 0: not said.
ALTER TABLE witnessmark.wrench ADD COLUMN permissible bigint NOT NULL DEFAULT 0;

CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.adapter
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.adapter ENABLE ALWAYS TRIGGER kept;

GRANT SELECT ON witnessmark.adapter TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, bench, wrench, adapter, wrench_length, extension, angle, person)
    ON witnessmark.adapter TO witnessmark_writer;
GRANT INSERT (permissible) ON witnessmark.wrench TO witnessmark_writer;
