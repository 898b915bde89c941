-- +goose Up
-- Who may open the pages: one passphrase a role, kept as its argon2id hash.
CREATE TABLE passphrases (
    role   TEXT PRIMARY KEY,
    hash   TEXT NOT NULL,
    set_at TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Who is logged in. id is the SHA-256 of what the browser holds, so that a
-- stolen copy opens nothing; instants are seconds since 1970.
CREATE TABLE sessions (
    id    BLOB PRIMARY KEY,
    data  BLOB NOT NULL,
    until INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Failed guesses at a passphrase by address, '' for all together.
CREATE TABLE guesses (
    source TEXT PRIMARY KEY,
    failed INTEGER NOT NULL,
    last   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Who changed what on the pages. It is only ever added to.
CREATE TABLE changes (
    id   INTEGER PRIMARY KEY,
    at   TEXT NOT NULL,
    who  TEXT NOT NULL,
    what TEXT NOT NULL
) STRICT;
-- +goose StatementBegin
CREATE TRIGGER changes_stay BEFORE UPDATE ON changes BEGIN
    SELECT RAISE(ABORT, 'what was changed is only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER changes_are_kept BEFORE DELETE ON changes BEGIN
    SELECT RAISE(ABORT, 'what was changed is only ever added to');
END;
-- +goose StatementEnd
-- +goose Down
DROP TABLE changes;
DROP TABLE guesses;
DROP TABLE sessions;
DROP TABLE passphrases;
