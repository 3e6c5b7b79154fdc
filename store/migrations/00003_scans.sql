-- +goose Up
-- Who has which badge, and what the scanners at the benches read. The text of a badge is kept out of the ledger, as a
-- name is: the owner may blank it when its time has come.

CREATE TABLE witnessmark.badge (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    badge text NOT NULL, person text NOT NULL, given_by text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- label is empty where it was not understood; run is the joint run that was on the bench, 0: none.
CREATE TABLE witnessmark.scan (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, scanner text NOT NULL, label text NOT NULL, value text NOT NULL, text text NOT NULL,
    note text NOT NULL, family text NOT NULL, run bigint NOT NULL, person text NOT NULL, more bigint NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX scan_run ON witnessmark.scan (shop, run) WHERE run <> 0;

-- What is in no leaf may become empty, and nothing else; all the rest is never changed.
CREATE TRIGGER kept BEFORE UPDATE OF shop, seq, at, refused, ledger_index, person, given_by ON witnessmark.badge
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER kept_text BEFORE UPDATE OF badge ON witnessmark.badge
    FOR EACH ROW WHEN (NEW.badge <> '') EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER kept_whole BEFORE DELETE OR TRUNCATE ON witnessmark.badge
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER kept BEFORE UPDATE OF shop, seq, at, refused, ledger_index, bench, scanner, label, note, family, run, person, more
    ON witnessmark.scan FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER kept_text BEFORE UPDATE OF value, text ON witnessmark.scan
    FOR EACH ROW WHEN (OLD.label NOT IN ('badge', '') OR NEW.value <> '' OR NEW.text <> '')
    EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER kept_whole BEFORE DELETE OR TRUNCATE ON witnessmark.scan
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.badge ENABLE ALWAYS TRIGGER kept, ENABLE ALWAYS TRIGGER kept_text, ENABLE ALWAYS TRIGGER kept_whole;
ALTER TABLE witnessmark.scan ENABLE ALWAYS TRIGGER kept, ENABLE ALWAYS TRIGGER kept_text, ENABLE ALWAYS TRIGGER kept_whole;

GRANT SELECT ON witnessmark.badge, witnessmark.scan TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, badge, person, given_by) ON witnessmark.badge TO witnessmark_writer;
GRANT INSERT (shop, seq, at, refused, ledger_index, bench, scanner, label, value, text, note, family, run, person, more)
    ON witnessmark.scan TO witnessmark_writer;
