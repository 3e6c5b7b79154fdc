-- +goose Up
-- The unit in which a person reads torques on the pages; empty: nothing was chosen.
ALTER TABLE witnessmark.account ADD COLUMN unit text NOT NULL DEFAULT '';
-- Who signs in elsewhere has no password here.
ALTER TABLE witnessmark.account ALTER COLUMN password SET DEFAULT '';
