-- +goose Up
-- Letters, each to one address. The message stands here to the byte before it
-- is sent, and a purpose has one letter to an address, whoever makes it.
-- copies counts the times that it went out, or may have.
CREATE TABLE letters (
    id          INTEGER PRIMARY KEY,
    purpose     TEXT NOT NULL, -- weekly/2026-W48/owner
    recipient   TEXT NOT NULL,
    subject     TEXT NOT NULL,
    message_id  TEXT NOT NULL,
    message     BLOB NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('waiting', 'claimed', 'sending', 'sent', 'unknown', 'refused', 'skipped')),
    tries       INTEGER NOT NULL DEFAULT 0,
    copies      INTEGER NOT NULL DEFAULT 0 CHECK (copies BETWEEN 0 AND 2),
    due         TEXT NOT NULL,
    owner       TEXT NOT NULL DEFAULT '',
    lease_until TEXT NOT NULL DEFAULT '',
    said        TEXT NOT NULL DEFAULT '', -- what the mail server answered
    made_at     TEXT NOT NULL,
    ended_at    TEXT NOT NULL DEFAULT '',
    UNIQUE (purpose, recipient)
) STRICT;
CREATE INDEX letters_to_send ON letters(state, due);
-- +goose Down
DROP TABLE letters;
