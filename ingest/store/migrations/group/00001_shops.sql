-- +goose Up
-- The shops of a group. Each has its tables in a schema of its own, shop_NAME.
CREATE TABLE shops (
    name  TEXT COLLATE "C" PRIMARY KEY,
    since TIMESTAMPTZ NOT NULL DEFAULT now()
);
