-- Where things were picked up, and photos.

CREATE TABLE pickups (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    day TEXT NOT NULL,                      -- on the shop's calendar
    place TEXT NOT NULL,
    what TEXT NOT NULL,
    from_whom TEXT NOT NULL,                -- who gave or sold it, as far as the shop writes that down
    cost TEXT NOT NULL,                     -- exact; 0 where it was free
    currency TEXT NOT NULL,                 -- ISO 4217
    note TEXT NOT NULL,
    made_by TEXT NOT NULL REFERENCES partners (id),
    made_at TEXT NOT NULL,
    withdrawn_at TEXT,                      -- set when it was written down by mistake
    version BIGINT NOT NULL
);
CREATE INDEX pickups_shop ON pickups (shop_id, day);

-- The words in `source` stay; this names the pickup where there is one.
ALTER TABLE lots ADD COLUMN pickup_id TEXT REFERENCES pickups (id);
CREATE INDEX lots_pickup ON lots (pickup_id);

-- Photos as they are kept: shrunk, upright, and without what the camera wrote into them.
CREATE TABLE photos (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    subject TEXT NOT NULL,                  -- lot, pickup or ticket
    subject_id TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    small_sha256 TEXT NOT NULL,             -- the same, small, for lists
    width BIGINT NOT NULL,
    height BIGINT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    FOREIGN KEY (shop_id, sha256) REFERENCES files (shop_id, sha256),
    FOREIGN KEY (shop_id, small_sha256) REFERENCES files (shop_id, sha256)
);
-- The same photo of the same thing is there once.
CREATE UNIQUE INDEX photos_once ON photos (shop_id, subject, subject_id, sha256);
CREATE INDEX photos_file ON photos (shop_id, sha256);
CREATE INDEX photos_small_file ON photos (shop_id, small_sha256);
