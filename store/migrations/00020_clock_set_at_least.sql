-- +goose Up
-- That the clock was set back is seen after a reboot only by its showing less than the entry before: by at least so much.
ALTER TABLE witnessmark.clock_set ADD COLUMN at_least boolean NOT NULL DEFAULT false;
GRANT INSERT (at_least) ON witnessmark.clock_set TO witnessmark_writer;
