-- +goose Up
-- headers and delimiter: JSON list, and one character, so that rejected rows can
-- be written as a file again.
-- content: a hash over the versions of records, and the rejects, that came
-- with the batch; NULL where the batch is older than the history.
ALTER TABLE batches ADD COLUMN headers TEXT NOT NULL DEFAULT '[]';
ALTER TABLE batches ADD COLUMN delimiter TEXT NOT NULL DEFAULT ',';
ALTER TABLE batches ADD COLUMN content BLOB;
ALTER TABLE batches ADD COLUMN undone_at TEXT;

-- What a record said before a batch changed it. It is only ever added to.
CREATE TABLE history (
    batch   INTEGER NOT NULL REFERENCES batches(id),
    key     TEXT NOT NULL,
    earlier INTEGER NOT NULL REFERENCES batches(id), -- the batch that this version came with
    record  BLOB NOT NULL,
    PRIMARY KEY (batch, key)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER history_stays BEFORE UPDATE ON history BEGIN
    SELECT RAISE(ABORT, 'the history is only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER history_is_kept BEFORE DELETE ON history BEGIN
    SELECT RAISE(ABORT, 'the history is only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER rejects_stay BEFORE UPDATE ON rejects BEGIN
    SELECT RAISE(ABORT, 'rejected rows are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER rejects_are_kept BEFORE DELETE ON rejects BEGIN
    SELECT RAISE(ABORT, 'rejected rows are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER batches_are_kept BEFORE DELETE ON batches BEGIN
    SELECT RAISE(ABORT, 'batches are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER batches_stay BEFORE UPDATE ON batches
WHEN old.undone_at IS NOT NULL
  OR old.content IS NOT NULL AND (old.id, old.file, old.kind, old.sha256, old.taken_in, old.headers, old.delimiter, old.row_count, old.added, old.updated, old.unchanged, old.warned, old.rejected, old.content)
     IS NOT (new.id, new.file, new.kind, new.sha256, new.taken_in, new.headers, new.delimiter, new.row_count, new.added, new.updated, new.unchanged, new.warned, new.rejected, new.content)
BEGIN
    SELECT RAISE(ABORT, 'a batch that was taken in can only be undone, once');
END;
-- +goose StatementEnd
-- +goose Down
DROP TRIGGER batches_stay;
DROP TRIGGER batches_are_kept;
DROP TRIGGER rejects_are_kept;
DROP TRIGGER rejects_stay;
DROP TABLE history;
ALTER TABLE batches DROP COLUMN undone_at;
ALTER TABLE batches DROP COLUMN content;
ALTER TABLE batches DROP COLUMN delimiter;
ALTER TABLE batches DROP COLUMN headers;
