-- +goose Up
-- Quotes as they were given, so that they can be set against what came.
CREATE TABLE quotes (
    id         INTEGER PRIMARY KEY,
    given_at   TEXT NOT NULL,
    as_of      TEXT NOT NULL,
    kind       TEXT NOT NULL,
    hours      REAL,          -- quoted; NULL where the kind's usual was taken
    parts_days REAL,          -- NULL where it wasn't known
    emergency  INTEGER NOT NULL,
    p50        TEXT NOT NULL,
    p80        TEXT NOT NULL,
    p90        TEXT NOT NULL,
    ro         TEXT NOT NULL  -- repair order that it became, if anyone said
) STRICT;
CREATE INDEX quotes_by_day ON quotes(as_of);
-- +goose Down
DROP TABLE quotes;
