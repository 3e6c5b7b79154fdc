-- +goose Up
-- Who may do what is recorded for good; how a person proves who they are, and who is signed in, is state that changes.

CREATE TABLE witnessmark.roles (
    shop text NOT NULL, seq bigint NOT NULL, at timestamptz NOT NULL, refused text NOT NULL, ledger_index bigint NOT NULL,
    person text NOT NULL, roles text[] NOT NULL, given_by text NOT NULL,
    PRIMARY KEY (shop, seq), UNIQUE (shop, ledger_index));
CREATE TRIGGER kept BEFORE UPDATE OR DELETE OR TRUNCATE ON witnessmark.roles
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
ALTER TABLE witnessmark.roles ENABLE ALWAYS TRIGGER kept;
GRANT SELECT ON witnessmark.roles TO witnessmark_writer, witnessmark_reader;
GRANT INSERT (shop, seq, at, refused, ledger_index, person, roles, given_by) ON witnessmark.roles TO witnessmark_writer;

-- Hashes only (argon2id, PHC form).
CREATE TABLE witnessmark.account (
    shop text NOT NULL, person text NOT NULL, password text NOT NULL,
    PRIMARY KEY (shop, person));

-- key is the SHA-256 of what the browser holds. person is for ending all sessions of one person.
CREATE TABLE witnessmark.session (
    shop text NOT NULL, key text NOT NULL, person text NOT NULL, data bytea NOT NULL, expires timestamptz NOT NULL,
    PRIMARY KEY (shop, key));
CREATE INDEX session_person ON witnessmark.session (shop, person);
CREATE INDEX session_expires ON witnessmark.session (shop, expires);

GRANT SELECT, INSERT, UPDATE, DELETE ON witnessmark.account, witnessmark.session TO witnessmark_writer;
