-- +goose Up
-- Files that someone has chosen on a page, until he or she has said how they are
-- meant and they are in: any of the processes that serve pages goes on with them.
CREATE TABLE arrivals (
    id      TEXT COLLATE "C" PRIMARY KEY, -- not to be guessed
    shop    TEXT COLLATE "C" NOT NULL REFERENCES shops(name) ON DELETE CASCADE,
    at      BIGINT NOT NULL, -- seconds since 1970, when it was chosen
    content BYTEA, -- null once it is in, or refused
    state   TEXT COLLATE "C" NOT NULL -- JSON of what was said of it, how far it is, what became of it
);
CREATE INDEX arrivals_of_shop ON arrivals(shop);
