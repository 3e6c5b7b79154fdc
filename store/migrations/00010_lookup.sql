-- +goose Up
-- What a look-up years later needs: builds by what a person typed, the readings of one step across all builds, spans of
-- time; what a calibration found; and that a name was blanked. Chosen by EXPLAIN on 20 million readings of 34 000 engines.

-- How a serial number is compared when it was written otherwise: no separators, capitals, and the letters that look like
-- digits as digits. upper() by "C" is the same on every server, which an index must rely on.
CREATE FUNCTION witnessmark.plain(text) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN translate(upper($1 COLLATE "C"), 'OQI -_./:', '001');

-- Equality for what was written otherwise or with one slip (all its forms are asked for at once), a range for the beginning
-- of a serial. "C", so that a range is of bytes.
CREATE INDEX build_engine_plain ON witnessmark.build (shop, witnessmark.plain(engine) COLLATE "C");
CREATE INDEX build_work_order_plain ON witnessmark.build (shop, witnessmark.plain(work_order) COLLATE "C");
CREATE INDEX build_unit_plain ON witnessmark.build (shop, witnessmark.plain(unit) COLLATE "C");

-- All readings of one fastener and stage among the builds of a family, second hits left out, in the order of time. The index
-- holds all that it takes to choose a sample, so that no page of the table is read for that; without it a page would be
-- read for every build that there ever was.
CREATE INDEX mark_step ON witnessmark.mark (shop, family, joint, stage, fastener, reading, no) INCLUDE (at)
    WHERE NOT flags @> '{re-hit}';

-- Readings lie in the order of time, so that a summary of each range of pages finds a span, in a few kilobytes.
CREATE INDEX reading_at ON witnessmark.reading USING brin (shop, at);

-- A bolt lot, however it was written.
CREATE INDEX check_answer_value ON witnessmark.check_answer (shop, witnessmark.plain(value) COLLATE "C") WHERE value <> '';

CREATE TABLE witnessmark.calibration_found (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    wrench text NOT NULL, certificate text NOT NULL, found timestamptz NOT NULL, points text NOT NULL, good boolean NOT NULL,
    adjusted boolean NOT NULL, person text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- Says that a name and badges were blanked, and why; which name it was is in no leaf.
CREATE TABLE witnessmark.person_forgotten (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    person text NOT NULL, reason text NOT NULL, forgotten_by text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));

-- +goose StatementBegin
DO $$
DECLARE
    t text;
    cols text;
BEGIN
    FOREACH t IN ARRAY ARRAY['calibration_found', 'person_forgotten'] LOOP
        SELECT string_agg(quote_ident(column_name), ', ') INTO cols FROM information_schema.columns
            WHERE table_schema = 'witnessmark' AND table_name = t;
        EXECUTE format('CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.%I FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change()', t);
        EXECUTE format('ALTER TABLE witnessmark.%I ENABLE ALWAYS TRIGGER kept', t);
        EXECUTE format('GRANT SELECT ON witnessmark.%I TO witnessmark_writer, witnessmark_reader', t);
        EXECUTE format('GRANT INSERT (%s) ON witnessmark.%I TO witnessmark_writer', cols, t);
    END LOOP;
END $$;
-- +goose StatementEnd

-- A name may become empty, and nothing else.
CREATE TRIGGER kept_text BEFORE UPDATE OF name ON witnessmark.person
    FOR EACH ROW WHEN (NEW.name <> '') EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.person ENABLE ALWAYS TRIGGER kept_text;

-- Blanks what names a person and is in no leaf. It has the owner's right to do so, and asks for the entry that says why.
-- +goose StatementBegin
CREATE FUNCTION witnessmark.forget(of_shop text, who text) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM witnessmark.person_forgotten f WHERE f.shop = of_shop AND f.person = who AND f.refused = '') THEN
        RAISE EXCEPTION 'a name is blanked only where an entry says so: record that the person is forgotten'
            USING ERRCODE = 'insufficient_privilege';
    END IF;
    UPDATE witnessmark.person SET name = '' WHERE shop = of_shop AND person = who;
    UPDATE witnessmark.badge SET badge = '' WHERE shop = of_shop AND person = who;
    UPDATE witnessmark.scan SET value = '', text = '' WHERE shop = of_shop AND person = who AND label IN ('badge', '');
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION witnessmark.forget FROM PUBLIC;
GRANT EXECUTE ON FUNCTION witnessmark.forget TO witnessmark_writer;
