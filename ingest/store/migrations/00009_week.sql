-- +goose Up
-- With each run, what it was made from, so that it can be made again: see Basis.
ALTER TABLE runs ADD COLUMN weeks INTEGER NOT NULL DEFAULT 13;
ALTER TABLE runs ADD COLUMN basis TEXT NOT NULL DEFAULT '{}'; -- JSON
ALTER TABLE letters ADD COLUMN run INTEGER REFERENCES runs(id); -- that the letter tells of

-- Files seen in the watched folder, by name. A file of the same size and time
-- of writing is the same file.
CREATE TABLE folder_files (
    name    TEXT PRIMARY KEY,
    size    INTEGER NOT NULL,
    written TEXT NOT NULL,
    state   TEXT NOT NULL CHECK (state IN ('seen', 'taking', 'taken', 'left')),
    at      TEXT NOT NULL, -- since when it is in this state
    said    TEXT NOT NULL DEFAULT ''
) STRICT, WITHOUT ROWID;

-- Steps of the week's work that failed when they were last tried.
CREATE TABLE failures (
    step TEXT PRIMARY KEY,
    said TEXT NOT NULL,
    at   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
-- +goose Down
DROP TABLE failures;
DROP TABLE folder_files;
ALTER TABLE letters DROP COLUMN run;
ALTER TABLE runs DROP COLUMN basis;
ALTER TABLE runs DROP COLUMN weeks;
