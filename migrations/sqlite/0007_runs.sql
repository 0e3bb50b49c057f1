-- Yard runs: lots that are driven to one or more yards.

CREATE TABLE runs (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    day TEXT NOT NULL,                      -- that it is planned for, on the shop's calendar
    note TEXT NOT NULL,
    expected_trip TEXT NOT NULL,            -- exact, home currency: what the drive was to cost, at most
    made_by TEXT NOT NULL REFERENCES partners (id),
    made_at TEXT NOT NULL,
    left_by TEXT REFERENCES partners (id),
    left_at TEXT,                           -- null: the truck has not left
    odometer_out TEXT,                      -- as it was read, in km
    back_by TEXT REFERENCES partners (id),
    back_at TEXT,
    odometer_back TEXT,
    distance_km TEXT,                       -- driven; null while nobody knows
    minutes BIGINT,                         -- it took
    trip_cost TEXT,                         -- exact, home currency: of the distance and the minutes
    cancelled_by TEXT REFERENCES partners (id),
    cancelled_at TEXT,
    version BIGINT NOT NULL
);
CREATE INDEX runs_shop ON runs (shop_id, day);

-- A yard of the run, with what was promised as it stood when the run was made.
CREATE TABLE run_stops (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    run_id TEXT NOT NULL REFERENCES runs (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    position BIGINT NOT NULL,               -- in which order they are driven to
    promise TEXT NOT NULL,                  -- JSON: lots, prices and terms
    expected_net TEXT NOT NULL,             -- exact, home currency, the drive not taken off
    ended_by TEXT REFERENCES partners (id),
    ended_at TEXT,                          -- set when it was told what became of its lots
    UNIQUE (run_id, outlet_id)
);

CREATE TABLE run_lots (
    stop_id TEXT NOT NULL REFERENCES run_stops (id),
    lot_id TEXT NOT NULL REFERENCES lots (id),
    run_id TEXT NOT NULL REFERENCES runs (id),
    net_ug BIGINT NOT NULL,                 -- as it stood when the run was made
    pieces BIGINT NOT NULL,
    released_at TEXT,                       -- set when it was free again: not loaded, refused at the gate, or not gone there
    PRIMARY KEY (stop_id, lot_id)
);
CREATE INDEX run_lots_run ON run_lots (run_id);
-- A lot is in one run at a time. That it is in no shipment then is seen to where lots are reserved.
CREATE UNIQUE INDEX run_lots_reserved ON run_lots (lot_id) WHERE released_at IS NULL;

-- A stop is settled once; what comes after that replaces it.
CREATE UNIQUE INDEX settlements_run_stop ON settlements (run_stop_id) WHERE replaces_id IS NULL;

-- What left and what came back, to add up what was kept out of landfill without reading all other weighings.
CREATE INDEX weighings_out ON weighings (shop_id, at) WHERE kind IN ('sent', 'returned');
