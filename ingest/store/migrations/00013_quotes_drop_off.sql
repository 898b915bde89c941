-- +goose Up
-- The day on which a quoted rig comes, and whether its place in line is kept
-- from the day of the quote on.
ALTER TABLE quotes ADD COLUMN drop_off TEXT; -- NULL in older ones: the day of the quote
ALTER TABLE quotes ADD COLUMN held INTEGER NOT NULL DEFAULT 0;
-- +goose Down
ALTER TABLE quotes DROP COLUMN held;
ALTER TABLE quotes DROP COLUMN drop_off;
