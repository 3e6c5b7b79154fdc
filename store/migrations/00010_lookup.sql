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

-- A bolt lot, as it was answered.
CREATE INDEX check_answer_value ON witnessmark.check_answer (shop, value) WHERE value <> '';
