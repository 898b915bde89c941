-- +goose Up
-- One shop. Dates are TEXT YYYY-MM-DD, instants TEXT RFC 3339 in UTC.
CREATE TABLE settings (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- A batch is one file taken in. Its counts add up to rows.
CREATE TABLE batches (
    id        INTEGER PRIMARY KEY,
    file      TEXT NOT NULL,
    kind      TEXT NOT NULL,
    sha256    TEXT NOT NULL,
    taken_in  TEXT NOT NULL,
    row_count INTEGER NOT NULL,
    added     INTEGER NOT NULL,
    updated   INTEGER NOT NULL,
    unchanged INTEGER NOT NULL,
    warned    INTEGER NOT NULL,
    rejected  INTEGER NOT NULL,
    CHECK (row_count = added + updated + unchanged + rejected)
) STRICT;

-- Rows that could not be taken, as they stood, with the reason.
CREATE TABLE rejects (
    batch   INTEGER NOT NULL REFERENCES batches(id),
    line    INTEGER NOT NULL,
    column_ TEXT NOT NULL,
    value   TEXT NOT NULL,
    reason  TEXT NOT NULL,
    row_    TEXT NOT NULL
) STRICT;
CREATE INDEX rejects_by_batch ON rejects(batch, line);

-- Layouts that a person confirmed, by the signature of a file's headers.
CREATE TABLE layouts (
    signature TEXT PRIMARY KEY,
    kind      TEXT NOT NULL,
    layout    TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- A job line of a repair order: the unit that is counted.
CREATE TABLE job_lines (
    key         TEXT NOT NULL UNIQUE,
    ro          TEXT NOT NULL,
    dropped_off TEXT NOT NULL,
    kind        TEXT NOT NULL,
    unit        TEXT NOT NULL,
    quoted      REAL CHECK (quoted BETWEEN 0 AND 1e6),
    clocked     REAL CHECK (clocked BETWEEN 0 AND 1e6),
    billed      REAL CHECK (billed BETWEEN 0 AND 1e6),
    parts_wait  REAL,
    emergency   INTEGER NOT NULL,
    deferrable_ INTEGER NOT NULL,
    comeback_of TEXT NOT NULL,
    promised    TEXT,
    ready       TEXT,
    picked_up   TEXT,
    status      TEXT NOT NULL,
    note        TEXT NOT NULL,
    digest      BLOB NOT NULL,
    batch       INTEGER NOT NULL REFERENCES batches(id)
) STRICT;
CREATE INDEX job_lines_by_day ON job_lines(dropped_off, kind);

CREATE TABLE crew (
    key          TEXT PRIMARY KEY,
    name         TEXT NOT NULL,
    weekly_hours REAL NOT NULL CHECK (weekly_hours BETWEEN 0 AND 168),
    productivity REAL CHECK (productivity BETWEEN 0 AND 1),
    skills       TEXT NOT NULL,
    from_        TEXT,
    until        TEXT,
    hourly_cost  REAL,
    digest       BLOB NOT NULL,
    batch        INTEGER NOT NULL REFERENCES batches(id)
) STRICT, WITHOUT ROWID;

CREATE TABLE absences (
    key    TEXT PRIMARY KEY,
    name   TEXT NOT NULL,
    from_  TEXT NOT NULL,
    until  TEXT NOT NULL,
    digest BLOB NOT NULL,
    batch  INTEGER NOT NULL REFERENCES batches(id)
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    key    TEXT PRIMARY KEY,
    name   TEXT NOT NULL,
    from_  TEXT NOT NULL,
    until  TEXT NOT NULL,
    effect TEXT NOT NULL,
    digest BLOB NOT NULL,
    batch  INTEGER NOT NULL REFERENCES batches(id)
) STRICT, WITHOUT ROWID;

-- What the last runs computed. Pages read the newest; the letter of a week can
-- be made again from its seed, model and cut-off.
CREATE TABLE runs (
    id         INTEGER PRIMARY KEY,
    as_of      TEXT NOT NULL,
    seed       INTEGER NOT NULL,
    version    TEXT NOT NULL,
    data_until TEXT NOT NULL,
    made_at    TEXT NOT NULL,
    report     TEXT NOT NULL
) STRICT;
CREATE INDEX runs_by_day ON runs(as_of, id);
-- +goose Down
DROP TABLE runs;
DROP TABLE events;
DROP TABLE absences;
DROP TABLE crew;
DROP TABLE job_lines;
DROP TABLE layouts;
DROP TABLE rejects;
DROP TABLE batches;
DROP TABLE settings;
