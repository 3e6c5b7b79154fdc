-- +goose Up
-- What a certificate says beside its dates, and what follows from it for a mark.
ALTER TABLE witnessmark.wrench
    ADD COLUMN class text NOT NULL DEFAULT '', ADD COLUMN deviation bigint NOT NULL DEFAULT 0,
    ADD COLUMN uncertainty bigint NOT NULL DEFAULT 0, ADD COLUMN cycles bigint NOT NULL DEFAULT 0;
ALTER TABLE witnessmark.mark ADD COLUMN applied bigint NOT NULL DEFAULT 0, ADD COLUMN conformity bigint;
GRANT INSERT (class, deviation, uncertainty, cycles) ON witnessmark.wrench TO witnessmark_writer;
GRANT INSERT (applied, conformity) ON witnessmark.mark TO witnessmark_writer;
