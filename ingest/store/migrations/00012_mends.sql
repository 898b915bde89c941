-- +goose Up
-- Under which key a rejected row was taken in once it was mended, and with which
-- batch: mended again, in another way, it takes its own place.
CREATE TABLE mends (
    batch INTEGER NOT NULL REFERENCES batches(id), -- that rejected it
    line  INTEGER NOT NULL,
    by    INTEGER NOT NULL REFERENCES batches(id), -- that brought it
    key   TEXT NOT NULL,
    PRIMARY KEY (batch, line, by)
) STRICT, WITHOUT ROWID;
-- +goose Down
DROP TABLE mends;
