-- +goose Up
-- What more wrenches say of a pull, and what the link found about how the line came.
ALTER TABLE witnessmark.reading
    ADD COLUMN preset text NOT NULL DEFAULT '', ADD COLUMN judged text NOT NULL DEFAULT '',
    ADD COLUMN battery bigint, ADD COLUMN error_code text NOT NULL DEFAULT '',
    ADD COLUMN stored boolean NOT NULL DEFAULT false, ADD COLUMN epoch bigint NOT NULL DEFAULT 0,
    ADD COLUMN skipped bigint NOT NULL DEFAULT 0, ADD COLUMN repeat boolean NOT NULL DEFAULT false;
ALTER TABLE witnessmark.refusal ADD COLUMN more bigint NOT NULL DEFAULT 0;
GRANT INSERT (preset, judged, battery, error_code, stored, epoch, skipped, repeat) ON witnessmark.reading TO witnessmark_writer;
GRANT INSERT (more) ON witnessmark.refusal TO witnessmark_writer;
