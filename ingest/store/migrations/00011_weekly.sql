-- +goose Up
-- Job lines by week of drop-off and kind, kept up to date with them in the same
-- transaction, so that nobody counts all records to know a week. A week goes
-- from Monday to Sunday.
CREATE TABLE weekly (
    monday TEXT NOT NULL,
    kind   TEXT NOT NULL,
    lines  INTEGER NOT NULL CHECK (lines > 0),
    first  TEXT NOT NULL,
    last   TEXT NOT NULL,
    PRIMARY KEY (monday, kind)
) STRICT, WITHOUT ROWID;
INSERT INTO weekly
SELECT date(dropped_off, 'weekday 0', '-6 days') AS monday, kind, count(*), min(dropped_off), max(dropped_off)
FROM job_lines GROUP BY monday, kind;
