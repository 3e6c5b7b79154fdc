-- +goose Up
-- Machines act by tokens, and people sign in at a bench by badge and PIN. Who got a token is recorded for good; what proves
-- a token, a bench or a person is state that changes.

CREATE TABLE witnessmark.token_given (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    token text NOT NULL, person text NOT NULL, given_by text NOT NULL, expires timestamptz,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.token_given
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.token_given ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.token_given TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, token, person, given_by, expires) ON witnessmark.token_given TO witnessmark_writer;

-- key is the SHA-256 of the token.
CREATE TABLE witnessmark.token (
    shop text NOT NULL, name text NOT NULL, key text NOT NULL, person text NOT NULL, expires timestamptz NOT NULL,
    PRIMARY KEY (shop, name), UNIQUE (shop, key));

-- A browser that stands at a bench. key is the SHA-256 of what it holds.
CREATE TABLE witnessmark.enrolment (
    shop text NOT NULL, key text NOT NULL, bench text NOT NULL, person text NOT NULL, since timestamptz NOT NULL,
    expires timestamptz NOT NULL, PRIMARY KEY (shop, key));

-- argon2id over the PIN under a secret that is not in the database; empty: none is set.
ALTER TABLE witnessmark.account ADD COLUMN pin text NOT NULL DEFAULT '', ALTER COLUMN password SET DEFAULT '';

GRANT SELECT, INSERT, UPDATE, DELETE ON witnessmark.token, witnessmark.enrolment TO witnessmark_writer;
