-- +goose Up
-- What the group keeps of its shops' reports, so that its page computes
-- nothing; who works for which shop; and what is to be done when. Sessions and
-- guesses are as in a shop's own schema, which serves a shop that is alone.
-- +goose StatementBegin
CREATE FUNCTION unixepoch() RETURNS BIGINT VOLATILE LANGUAGE sql
    AS $$ SELECT floor(extract(epoch FROM clock_timestamp()))::bigint $$;
-- +goose StatementEnd

ALTER TABLE shops ADD COLUMN area TEXT COLLATE "C" NOT NULL DEFAULT ''; -- shops of one area share a season, and lend each other technicians

CREATE TABLE rounds (
    shop     TEXT COLLATE "C" PRIMARY KEY REFERENCES shops(name) ON DELETE CASCADE,
    zone     TEXT COLLATE "C" NOT NULL,
    schedule TEXT COLLATE "C" NOT NULL, -- of the letter
    night    TEXT COLLATE "C" NOT NULL, -- the last day whose night's work is done
    letter   TEXT COLLATE "C" NOT NULL  -- the last ISO week whose letter's work is done
);
CREATE TABLE briefs (
    shop       TEXT COLLATE "C" PRIMARY KEY REFERENCES shops(name) ON DELETE CASCADE,
    title      TEXT COLLATE "C" NOT NULL,
    as_of      TEXT COLLATE "C" NOT NULL,
    data_until TEXT COLLATE "C",
    made_at    TEXT COLLATE "C" NOT NULL,
    worst      DOUBLE PRECISION NOT NULL, -- the weeks' greatest chance of too few hours, -1 where that isn't known
    lesson     TEXT COLLATE "C"           -- JSON; null of a young shop
);
CREATE TABLE brief_weeks (
    shop      TEXT COLLATE "C" NOT NULL REFERENCES briefs(shop) ON DELETE CASCADE,
    monday    TEXT COLLATE "C" NOT NULL,
    drop_offs DOUBLE PRECISION NOT NULL,
    hours     DOUBLE PRECISION, -- null: not known, as below
    available DOUBLE PRECISION,
    chance    DOUBLE PRECISION,
    spare     TEXT COLLATE "C", -- JSON of capacity.Spared
    PRIMARY KEY (shop, monday)
);
CREATE TABLE loans (
    monday   TEXT COLLATE "C" NOT NULL,
    lender   TEXT COLLATE "C" NOT NULL REFERENCES shops(name) ON DELETE CASCADE,
    borrower TEXT COLLATE "C" NOT NULL REFERENCES shops(name) ON DELETE CASCADE,
    loan     TEXT COLLATE "C" NOT NULL, -- JSON of capacity.Loan
    PRIMARY KEY (monday, borrower)
);
CREATE TABLE users (
    name   TEXT COLLATE "C" PRIMARY KEY,
    hash   TEXT COLLATE "C" NOT NULL,
    set_at TEXT COLLATE "C" NOT NULL
);
CREATE TABLE members (
    member TEXT COLLATE "C" NOT NULL REFERENCES users(name) ON DELETE CASCADE,
    shop   TEXT COLLATE "C" NOT NULL REFERENCES shops(name) ON DELETE CASCADE,
    role   TEXT COLLATE "C" NOT NULL CHECK (role IN ('counter', 'owner')),
    PRIMARY KEY (member, shop)
);
CREATE TABLE sessions (
    id    BYTEA PRIMARY KEY,
    data  BYTEA NOT NULL,
    until BIGINT NOT NULL
);
CREATE TABLE guesses (
    source TEXT COLLATE "C" PRIMARY KEY,
    failed BIGINT NOT NULL,
    last   BIGINT NOT NULL
);
CREATE TABLE secrets (
    name  TEXT COLLATE "C" PRIMARY KEY,
    value BYTEA NOT NULL
);
CREATE TABLE handed_in (
    id      BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    shop    TEXT COLLATE "C" NOT NULL REFERENCES shops(name) ON DELETE CASCADE,
    file    TEXT COLLATE "C" NOT NULL,
    content BYTEA, -- null once it is taken in
    said    TEXT COLLATE "C" NOT NULL DEFAULT ''
);
