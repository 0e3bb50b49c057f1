-- Units that are taken apart. What one stands at is worked out from its entries.
CREATE TABLE teardowns (
    id TEXT PRIMARY KEY,                    -- made before it is sent, so that sent twice it is stored once
    shop_id TEXT NOT NULL REFERENCES shops (id),
    kind_id TEXT NOT NULL,                  -- of the library, as it was called then
    kind_name TEXT NOT NULL,
    expected TEXT NOT NULL,                 -- JSON: the kind's tree, nets and steps as they were at the start
    source TEXT NOT NULL,                   -- where it came from, in the shop's words
    started_by TEXT NOT NULL REFERENCES partners (id),
    started_at TEXT NOT NULL,
    finished_at TEXT,
    outcome TEXT,                           -- JSON: what came of it, as it was when it was finished
    dropped_at TEXT,                        -- given up: nothing is learned from it
    version BIGINT NOT NULL
);
CREATE INDEX teardowns_shop ON teardowns (shop_id, kind_id);

-- What was done, one row each. Rows are only added: a mistake is taken back by a row that names it, and a part that was
-- weighed in by the row that undoes its weighing.
CREATE TABLE teardown_entries (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    teardown_id TEXT NOT NULL REFERENCES teardowns (id),
    kind TEXT NOT NULL,                     -- seen, whole, start, stop, part, waste or undo
    part_id TEXT NOT NULL,                  -- of a part: which; the unit's own id is what is left of it
    mass_ug BIGINT NOT NULL,
    pieces BIGINT NOT NULL,
    typed TEXT NOT NULL,                    -- the reading exactly as typed
    weighing_id TEXT UNIQUE REFERENCES weighings (id),
    reverses_id TEXT UNIQUE REFERENCES teardown_entries (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);
CREATE INDEX teardown_entries_teardown ON teardown_entries (teardown_id, at);
