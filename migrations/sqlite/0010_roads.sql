-- Roads from one yard straight to another, for drives to several.

CREATE TABLE roads (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    one_id TEXT NOT NULL REFERENCES outlets (id),   -- of the two ends the one whose id comes first
    other_id TEXT NOT NULL REFERENCES outlets (id),
    distance_km TEXT NOT NULL,                      -- exact; as far either way
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    PRIMARY KEY (one_id, other_id),
    CHECK (one_id < other_id)
);
CREATE INDEX roads_shop ON roads (shop_id);
CREATE INDEX roads_other ON roads (other_id);
