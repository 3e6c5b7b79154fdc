-- +goose Up
-- The check that a reading measures, where it is no tightening.
ALTER TABLE witnessmark.mark ADD COLUMN check_id text NOT NULL DEFAULT '';
GRANT INSERT (check_id) ON witnessmark.mark TO witnessmark_writer;
