-- +goose Up
-- How a shop's own words for job kinds are grouped. Job lines keep the word that
-- was imported. A step is one change (merged, renamed, split) and is only ever
-- added to; undoing it is a row of its own. A word stands in the group that the
-- newest step which stands says, else in one of its own name.
CREATE TABLE kind_steps (
    id      INTEGER PRIMARY KEY,
    what    TEXT NOT NULL CHECK (what IN ('merge', 'rename', 'split')),
    made_at TEXT NOT NULL
) STRICT;
CREATE TABLE kind_words (
    step   INTEGER NOT NULL REFERENCES kind_steps(id),
    word   TEXT NOT NULL,
    group_ TEXT NOT NULL,
    PRIMARY KEY (step, word)
) STRICT, WITHOUT ROWID;
CREATE TABLE kind_undos (
    step    INTEGER PRIMARY KEY REFERENCES kind_steps(id),
    made_at TEXT NOT NULL
) STRICT;
-- +goose StatementBegin
CREATE TRIGGER kind_steps_stay BEFORE UPDATE ON kind_steps BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER kind_steps_are_kept BEFORE DELETE ON kind_steps BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER kind_words_stay BEFORE UPDATE ON kind_words BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER kind_words_are_kept BEFORE DELETE ON kind_words BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER kind_undos_stay BEFORE UPDATE ON kind_undos BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER kind_undos_are_kept BEFORE DELETE ON kind_undos BEGIN
    SELECT RAISE(ABORT, 'steps of grouping are only ever added to');
END;
-- +goose StatementEnd
-- +goose Down
DROP TABLE kind_undos;
DROP TABLE kind_words;
DROP TABLE kind_steps;
