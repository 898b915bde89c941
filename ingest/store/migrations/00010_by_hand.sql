-- +goose Up
-- Batches of what a person changed on the pages, and no file. A record that
-- such a batch has in history and that is nowhere else was taken out.
ALTER TABLE batches ADD COLUMN by_hand INTEGER NOT NULL DEFAULT 0 CHECK (by_hand IN (0, 1));
-- +goose Down
ALTER TABLE batches DROP COLUMN by_hand;
