-- Who works in the shop, on which phones, and what they did.

ALTER TABLE partners ADD COLUMN role TEXT NOT NULL DEFAULT 'partner';   -- partner, or helper: weighs in and nothing else
ALTER TABLE partners ADD COLUMN passphrase TEXT;                        -- argon2id in PHC form; null until one is chosen
ALTER TABLE partners ADD COLUMN left_at TEXT;                           -- no longer works here; the name stays with what they did
ALTER TABLE partners ADD COLUMN version BIGINT NOT NULL DEFAULT 1;

-- A phone that somebody is signed in on. The cookie itself is kept nowhere.
CREATE TABLE sessions (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    token_sha256 TEXT NOT NULL UNIQUE,
    phone TEXT NOT NULL,                    -- what it calls itself, in a few words
    begun_at TEXT NOT NULL,
    seen_at TEXT NOT NULL,                  -- to the hour: not every page is a write
    ended_at TEXT
);
CREATE INDEX sessions_partner ON sessions (partner_id, ended_at);

-- Codes that let somebody in once, for a short while.
CREATE TABLE codes (
    code_sha256 TEXT PRIMARY KEY,
    purpose TEXT NOT NULL,                  -- set-up, join or reset
    shop_id TEXT REFERENCES shops (id),     -- null: to set up a shop
    partner_id TEXT REFERENCES partners (id),
    made_at TEXT NOT NULL,
    expires_at TEXT NOT NULL,
    used_at TEXT
);

-- Sign-ins tried of late, by account and by address, each as a hash.
CREATE TABLE tries (
    subject_sha256 TEXT PRIMARY KEY,
    count BIGINT NOT NULL,
    since TEXT NOT NULL
);

-- What was done, by whom and when. Rows are only added, in the transaction of what they tell of.
CREATE TABLE activity (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    noun TEXT NOT NULL,                     -- what kind of thing
    noun_id TEXT NOT NULL,                  -- which
    deed TEXT NOT NULL,                     -- what was done to it: weighed in, changed
    detail TEXT NOT NULL                    -- how much, to what; may be empty
);
CREATE INDEX activity_shop ON activity (shop_id, at, id);

-- What lets a shop's own scripts and devices in. The key itself is kept nowhere.
CREATE TABLE api_keys (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),  -- under whose name it works
    name TEXT NOT NULL,                     -- of the device
    key_sha256 TEXT NOT NULL UNIQUE,
    made_at TEXT NOT NULL,
    seen_at TEXT,                           -- to the hour
    ended_at TEXT
);

-- Work that is done once a day by one of the servers.
CREATE TABLE jobs (
    name TEXT PRIMARY KEY,
    day TEXT NOT NULL                       -- that it was last taken on for
);
