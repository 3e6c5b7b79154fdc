-- +goose Up
-- What stands between a build and its release was accepted or put right, who signed for the build, and who took that back.

-- finding and found are the id and the sentence of what was accepted, as they stood then.
CREATE TABLE witnessmark.concession (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    build bigint NOT NULL, finding text NOT NULL, found text NOT NULL, joint text NOT NULL, stage text NOT NULL,
    fastener text NOT NULL, check_id text NOT NULL, reading bigint NOT NULL, reason text NOT NULL, person text NOT NULL,
    seconded text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX concession_build ON witnessmark.concession (shop, build);

CREATE TABLE witnessmark.correction (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    build bigint NOT NULL, run bigint NOT NULL, reading bigint NOT NULL, fastener text NOT NULL, stage text NOT NULL,
    reason text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX correction_build ON witnessmark.correction (shop, build);

-- size and root are the ledger that the release signs, which holds all entries up to recorded.
CREATE TABLE witnessmark.build_release (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    build bigint NOT NULL, reviewed bigint NOT NULL, recorded bigint NOT NULL, size bigint NOT NULL, root bytea NOT NULL,
    person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX build_release_build ON witnessmark.build_release (shop, build);

CREATE TABLE witnessmark.build_reopening (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    build bigint NOT NULL, reason text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX build_reopening_build ON witnessmark.build_reopening (shop, build);

-- +goose StatementBegin
DO $$
DECLARE
    t text;
    cols text;
BEGIN
    FOREACH t IN ARRAY ARRAY['concession', 'correction', 'build_release', 'build_reopening'] LOOP
        SELECT string_agg(quote_ident(column_name), ', ') INTO cols FROM information_schema.columns
            WHERE table_schema = 'witnessmark' AND table_name = t;
        EXECUTE format('CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.%I FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change()', t);
        EXECUTE format('ALTER TABLE witnessmark.%I ENABLE ALWAYS TRIGGER kept', t);
        EXECUTE format('GRANT SELECT ON witnessmark.%I TO witnessmark_writer, witnessmark_reader', t);
        EXECUTE format('GRANT INSERT (%s) ON witnessmark.%I TO witnessmark_writer', cols, t);
    END LOOP;
END $$;
-- +goose StatementEnd
