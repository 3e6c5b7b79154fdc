-- +goose Up
-- Every key begins with the shop, so that many shops' rows can live in one database and be told apart.
-- A row is written once. ledger_index says which leaf of the ledger proves it.

CREATE TABLE witnessmark.procedure (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    family text NOT NULL, revision text NOT NULL, title text NOT NULL, text text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- The one place of a name; everything else, the ledger too, knows a person by the random id.
CREATE TABLE witnessmark.person (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    person text NOT NULL, name text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

CREATE TABLE witnessmark.wrench (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    wrench text NOT NULL, title text NOT NULL, certificate text NOT NULL, calibrated timestamptz, due timestamptz,
    range_low bigint NOT NULL, range_high bigint NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

CREATE TABLE witnessmark.build (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    engine text NOT NULL, family text NOT NULL, revision text NOT NULL, work_order text NOT NULL, unit text NOT NULL,
    person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
-- A history begins with an engine; a claim may know only the work order or the unit.
CREATE INDEX build_engine ON witnessmark.build (shop, engine);
CREATE INDEX build_work_order ON witnessmark.build (shop, work_order);
CREATE INDEX build_unit ON witnessmark.build (shop, unit);

CREATE TABLE witnessmark.joint_start (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, build bigint NOT NULL, joint text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX joint_start_build ON witnessmark.joint_start (shop, build);

CREATE TABLE witnessmark.joint_close (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, run bigint NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX joint_close_run ON witnessmark.joint_close (shop, run);

CREATE TABLE witnessmark.check_answer (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, run bigint NOT NULL, check_id text NOT NULL, fastener text NOT NULL, yes boolean NOT NULL,
    value text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX check_answer_run ON witnessmark.check_answer (shop, run);

CREATE TABLE witnessmark.fastener_named (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, run bigint NOT NULL, reading bigint NOT NULL, fastener text NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE INDEX fastener_named_run ON witnessmark.fastener_named (shop, run);

-- torque is in µN·m and angle in thousandths of a degree; torque_text and unit are what the wrench wrote.
CREATE TABLE witnessmark.reading (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, wrench text NOT NULL, torque bigint NOT NULL, torque_text text NOT NULL, unit text NOT NULL,
    angle bigint, direction text NOT NULL, counter bigint, clock text NOT NULL, serial text NOT NULL, tag text NOT NULL,
    raw bytea NOT NULL, profile text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

CREATE TABLE witnessmark.refusal (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    bench text NOT NULL, wrench text NOT NULL, reason text NOT NULL, detail text NOT NULL, raw bytea NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- A mark supersedes the one of the same reading with the number before. seq is the entry at which it was said.
CREATE TABLE witnessmark.mark (
    shop text NOT NULL, reading bigint NOT NULL, no bigint NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL,
    refused text NOT NULL, ledger_index bigint NOT NULL,
    run bigint NOT NULL, build bigint NOT NULL, joint text NOT NULL, stage text NOT NULL, fastener text NOT NULL,
    verdict text NOT NULL, flags text[] NOT NULL, confidence bigint NOT NULL, located_by text NOT NULL,
    family text NOT NULL, revision text NOT NULL, calibration bigint NOT NULL, adapter text NOT NULL,
    PRIMARY KEY (shop, reading, no), UNIQUE (shop, ledger_index));
CREATE INDEX mark_run ON witnessmark.mark (shop, run, reading, no);

CREATE TABLE witnessmark.ledger_leaf (
    shop text NOT NULL, index bigint NOT NULL, kind text NOT NULL, seq bigint NOT NULL, hash bytea NOT NULL,
    PRIMARY KEY (shop, index));

CREATE TABLE witnessmark.checkpoint (
    shop text NOT NULL, size bigint NOT NULL, root bytea NOT NULL, at timestamptz NOT NULL, note bytea NOT NULL,
    PRIMARY KEY (shop, size));

-- The one row that changes: where the ledger ends and which journal entry is in. The writer moves it by
-- compare-and-swap in the transaction that writes the rows, so that two writers can never both succeed.
CREATE TABLE witnessmark.ledger_head (
    shop text PRIMARY KEY, size bigint NOT NULL, root bytea NOT NULL, edge bytea NOT NULL, position bigint NOT NULL,
    epoch bigint NOT NULL);

-- +goose StatementBegin
CREATE FUNCTION witnessmark.refuse_change() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
    RAISE EXCEPTION 'what is recorded in % is never changed or deleted: record a correction instead', TG_TABLE_NAME
        USING ERRCODE = 'insufficient_privilege';
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
DO $$
DECLARE
    t text;
    role text;
    cols text;
BEGIN
    -- The roles are of the whole server and are there already, see roles.go.
    FOREACH role IN ARRAY ARRAY['witnessmark_writer', 'witnessmark_reader'] LOOP
        EXECUTE format('GRANT USAGE ON SCHEMA witnessmark TO %I', role);
        EXECUTE format('GRANT SELECT ON ALL TABLES IN SCHEMA witnessmark TO %I', role);
    END LOOP;
    FOR t IN SELECT table_name FROM information_schema.tables
             WHERE table_schema = 'witnessmark' AND table_name NOT IN ('ledger_head', 'schema_version') LOOP
        SELECT string_agg(quote_ident(column_name), ', ') INTO cols FROM information_schema.columns
            WHERE table_schema = 'witnessmark' AND table_name = t AND NOT (t = 'person' AND column_name = 'name');
        IF t = 'person' THEN -- a name may be blanked by the owner when its time has come; nothing else
            EXECUTE format('CREATE TRIGGER kept BEFORE UPDATE OF %s ON witnessmark.person FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change()', cols);
            EXECUTE 'CREATE TRIGGER kept_whole BEFORE DELETE OR TRUNCATE ON witnessmark.person FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change()';
            EXECUTE 'ALTER TABLE witnessmark.person ENABLE ALWAYS TRIGGER kept_whole';
            cols := cols || ', name';
        ELSE
            EXECUTE format('CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.%I FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change()', t);
        END IF;
        EXECUTE format('ALTER TABLE witnessmark.%I ENABLE ALWAYS TRIGGER kept', t);
        EXECUTE format('GRANT INSERT (%s) ON witnessmark.%I TO witnessmark_writer', cols, t);
    END LOOP;
    GRANT INSERT (shop, size, root, edge, position, epoch), UPDATE (size, root, edge, position, epoch)
        ON witnessmark.ledger_head TO witnessmark_writer;
END $$;
-- +goose StatementEnd
