-- +goose Up
-- What people say of alerts: seen (because is empty) or explained. alert is the
-- name it was called by; rule, kind, failure, above and began find it again. from_ and
-- until are the days that one_time keeps out of the season. said_on is the day
-- that was asked about. Notes are only ever added to; taking one back is a row
-- of its own.
CREATE TABLE notes (
    id       INTEGER PRIMARY KEY,
    alert    TEXT NOT NULL,
    rule     TEXT NOT NULL,
    kind     TEXT NOT NULL,
    failure  TEXT NOT NULL,
    above    INTEGER NOT NULL CHECK (above IN (0, 1)),
    began    TEXT NOT NULL,
    from_    TEXT NOT NULL,
    until    TEXT NOT NULL CHECK (until >= from_),
    because  TEXT NOT NULL,
    one_time INTEGER NOT NULL CHECK (one_time = 0 OR one_time = 1 AND because <> ''),
    said_on  TEXT NOT NULL,
    who      TEXT NOT NULL,
    made_at  TEXT NOT NULL,
    digest   BLOB NOT NULL
) STRICT;
CREATE TABLE note_undos (
    note    INTEGER PRIMARY KEY REFERENCES notes(id),
    who     TEXT NOT NULL,
    made_at TEXT NOT NULL
) STRICT;
-- +goose StatementBegin
CREATE TRIGGER notes_stay BEFORE UPDATE ON notes BEGIN
    SELECT RAISE(ABORT, 'notes are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER notes_are_kept BEFORE DELETE ON notes BEGIN
    SELECT RAISE(ABORT, 'notes are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER note_undos_stay BEFORE UPDATE ON note_undos BEGIN
    SELECT RAISE(ABORT, 'notes are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER note_undos_are_kept BEFORE DELETE ON note_undos BEGIN
    SELECT RAISE(ABORT, 'notes are only ever added to');
END;
-- +goose StatementEnd
-- +goose Down
DROP TABLE note_undos;
DROP TABLE notes;
