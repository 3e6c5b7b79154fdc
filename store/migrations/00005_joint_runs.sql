-- +goose Up
-- A joint may be taken up again where it was left, or begun afresh; a bolt may be renewed in between.
ALTER TABLE witnessmark.joint_start
    ADD COLUMN afresh boolean NOT NULL DEFAULT false, ADD COLUMN continues bigint NOT NULL DEFAULT 0;
GRANT INSERT (afresh, continues) ON witnessmark.joint_start TO witnessmark_writer;

CREATE TABLE witnessmark.bolt_replaced (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, run bigint NOT NULL, fastener text NOT NULL, reason text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX bolt_replaced_run ON witnessmark.bolt_replaced (shop, run);

CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.bolt_replaced
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.bolt_replaced ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.bolt_replaced TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, bench, run, fastener, reason, person) ON witnessmark.bolt_replaced TO witnessmark_writer;
