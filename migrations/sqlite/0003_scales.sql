-- What each scale showed last. A scale is known by the key that its bridge comes in with.
CREATE TABLE scale_readings (
    key_id TEXT PRIMARY KEY REFERENCES api_keys (id),
    shop_id TEXT NOT NULL REFERENCES shops (id),
    id TEXT NOT NULL,                       -- made by the bridge
    reading TEXT NOT NULL,                  -- as the scale shows it: 1.24 kg
    at TEXT NOT NULL,
    taken_at TEXT                           -- since when it is on a lot
);
