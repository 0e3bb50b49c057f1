-- The first schema. One text for both databases: BIGINT, TEXT and BLOB/BYTEA columns only, because those are what
-- the one set of queries reads alike on SQLite and Postgres.
--
-- Masses that SQL adds up are whole micrograms (…_ug); exact decimals that it does not are TEXT. Times are UTC in ISO
-- 8601 with milliseconds, so that they sort as text. A thing that can be edited carries `version`, which each edit
-- raises by one. Everything hangs on a shop.

CREATE TABLE shops (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    zone TEXT NOT NULL,                     -- IANA zone that times are shown in
    home_currency TEXT NOT NULL,            -- ISO 4217
    mass_style TEXT NOT NULL,               -- pounds-ounces or kilograms
    labour_per_hour TEXT NOT NULL,
    truck_per_km TEXT NOT NULL,
    capital_per_year TEXT NOT NULL,         -- share: 0.12 is 12 %
    risk_per_year TEXT NOT NULL,
    version BIGINT NOT NULL,
    created_at TEXT NOT NULL
);

CREATE TABLE partners (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    name TEXT NOT NULL,
    created_at TEXT NOT NULL,
    UNIQUE (shop_id, name)
);

CREATE TABLE grades (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    id TEXT NOT NULL,                       -- slug in plain trade words
    family TEXT NOT NULL,
    name TEXT NOT NULL,
    summary TEXT NOT NULL,
    recognise TEXT NOT NULL,                -- JSON: tests and findings, confusions, what spoils it, specification, caution
    bulk_density TEXT NOT NULL,             -- g/cm3, loose
    bulk_density_source TEXT NOT NULL,
    sold_by TEXT NOT NULL,                  -- mass or each
    position BIGINT NOT NULL,
    retired_at TEXT,
    version BIGINT NOT NULL,
    PRIMARY KEY (shop_id, id),
    UNIQUE (shop_id, name)
);

CREATE TABLE containers (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    label TEXT NOT NULL,
    kind TEXT NOT NULL,                     -- bag, box, drum or crate
    tare_ug BIGINT NOT NULL,
    retired_at TEXT,
    version BIGINT NOT NULL,
    created_at TEXT NOT NULL,
    UNIQUE (shop_id, label)
);

CREATE TABLE lots (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    container_id TEXT NOT NULL REFERENCES containers (id),
    grade_id TEXT NOT NULL,
    source TEXT NOT NULL,                   -- where it came from, in the shop's words
    note TEXT NOT NULL,
    opened_at TEXT NOT NULL,
    opened_by TEXT NOT NULL REFERENCES partners (id),
    closed_at TEXT,                         -- set when the last of it has left
    version BIGINT NOT NULL,
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);
-- A container holds one lot at a time.
CREATE UNIQUE INDEX lots_open_container ON lots (container_id) WHERE closed_at IS NULL;
CREATE INDEX lots_shop ON lots (shop_id, closed_at);

-- The ledger of a lot. Rows are only added: a mistake is undone by a row that names it.
CREATE TABLE weighings (
    id TEXT PRIMARY KEY,                    -- made before it is sent, so that sent twice it is stored once
    shop_id TEXT NOT NULL REFERENCES shops (id),
    lot_id TEXT NOT NULL REFERENCES lots (id),
    kind TEXT NOT NULL,                     -- weigh-in, undo, split-out, split-in, merge-out, merge-in, sent
    net_ug BIGINT NOT NULL,                 -- signed: what it adds to the lot
    gross_ug BIGINT NOT NULL,
    tare_ug BIGINT NOT NULL,
    pieces BIGINT NOT NULL,                 -- signed
    typed TEXT NOT NULL,                    -- the reading exactly as typed
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    reverses_id TEXT UNIQUE REFERENCES weighings (id),
    other_lot_id TEXT REFERENCES lots (id)  -- where a split or merge came from or went to
);
CREATE INDEX weighings_lot ON weighings (lot_id, at);

CREATE TABLE regrades (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    lot_id TEXT NOT NULL REFERENCES lots (id),
    from_grade_id TEXT NOT NULL,
    to_grade_id TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);

CREATE TABLE outlets (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    kind TEXT NOT NULL,                     -- yard or mail-in
    name TEXT NOT NULL,
    place TEXT NOT NULL,
    currency TEXT NOT NULL,
    usual_unit TEXT NOT NULL,               -- the unit its sheets mean when they give none
    note TEXT NOT NULL,
    distance_km TEXT NOT NULL,              -- yard: one way
    trip_minutes TEXT NOT NULL,             -- yard: the whole trip
    border TEXT NOT NULL,                   -- mail-in: brokerage and paperwork of a shipment, home currency
    insurance TEXT NOT NULL,                -- mail-in: share
    packing_minutes TEXT NOT NULL,          -- mail-in: per parcel
    weight_deduction TEXT NOT NULL,
    paid_weight TEXT NOT NULL,
    downgrade_chance TEXT NOT NULL,
    downgrade_drop TEXT NOT NULL,
    percent_fee TEXT NOT NULL,
    flat_fee TEXT NOT NULL,
    exchange_spread TEXT NOT NULL,
    payout_fee TEXT NOT NULL,
    days_to_pay BIGINT NOT NULL,
    minimum_payout TEXT NOT NULL,
    minimum_grade_ug BIGINT NOT NULL,
    minimum_delivery_ug BIGINT NOT NULL,
    closed_at TEXT,                         -- the shop no longer sells there
    version BIGINT NOT NULL,
    UNIQUE (shop_id, name)
);

CREATE TABLE services (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    name TEXT NOT NULL,
    currency TEXT NOT NULL,
    divisor_kind TEXT NOT NULL,             -- none, in3-lb or cm3-kg
    divisor TEXT NOT NULL,
    sides TEXT NOT NULL,                    -- exact, nearest or up
    above_cm3 TEXT NOT NULL,                -- parcels up to this volume go by actual weight; 0 for none
    step_ug BIGINT NOT NULL,
    fuel_percent TEXT NOT NULL,
    retired_at TEXT,
    version BIGINT NOT NULL,
    UNIQUE (shop_id, name)
);

CREATE TABLE service_breaks (
    service_id TEXT NOT NULL REFERENCES services (id),
    zone TEXT NOT NULL,
    up_to_ug BIGINT NOT NULL,
    charge TEXT NOT NULL,
    PRIMARY KEY (service_id, zone, up_to_ug)
);

CREATE TABLE service_surcharges (
    service_id TEXT NOT NULL REFERENCES services (id),
    position BIGINT NOT NULL,
    name TEXT NOT NULL,
    charge TEXT NOT NULL,
    applies TEXT NOT NULL,                  -- always, heavier, longer or girth
    threshold TEXT NOT NULL,                -- grams or millimetres
    PRIMARY KEY (service_id, position)
);

CREATE TABLE service_flat_boxes (
    service_id TEXT NOT NULL REFERENCES services (id),
    position BIGINT NOT NULL,
    zone TEXT NOT NULL,
    name TEXT NOT NULL,
    length_mm TEXT NOT NULL,
    width_mm TEXT NOT NULL,
    height_mm TEXT NOT NULL,
    limit_ug BIGINT NOT NULL,
    charge TEXT NOT NULL,
    PRIMARY KEY (service_id, position)
);

-- Which services reach a mail-in buyer, and in which zone of their table.
CREATE TABLE outlet_services (
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    service_id TEXT NOT NULL REFERENCES services (id),
    zone TEXT NOT NULL,
    PRIMARY KEY (outlet_id, service_id)
);

CREATE TABLE cartons (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    name TEXT NOT NULL,
    inner_length_mm TEXT NOT NULL,
    inner_width_mm TEXT NOT NULL,
    inner_height_mm TEXT NOT NULL,
    outer_length_mm TEXT NOT NULL,
    outer_width_mm TEXT NOT NULL,
    outer_height_mm TEXT NOT NULL,
    tare_ug BIGINT NOT NULL,
    limit_ug BIGINT NOT NULL,
    cost TEXT NOT NULL,                     -- home currency
    at_hand BIGINT,                         -- null: always enough
    retired_at TEXT,
    version BIGINT NOT NULL,
    UNIQUE (shop_id, name)
);

CREATE TABLE rates (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    date TEXT NOT NULL,
    base TEXT NOT NULL,
    quote TEXT NOT NULL,
    rate TEXT NOT NULL,                     -- units of quote for one of base
    source TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    PRIMARY KEY (shop_id, date, base, quote)
);

-- Uploads as they came.
CREATE TABLE files (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes BYTEA NOT NULL,
    at TEXT NOT NULL,
    PRIMARY KEY (shop_id, sha256)
);

-- A sheet that has been read and is under review. It becomes a sheet in one transaction, or is thrown away.
CREATE TABLE sheet_drafts (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    sha256 TEXT NOT NULL,
    reading TEXT NOT NULL,                  -- JSON: what intake read
    answers TEXT NOT NULL,                  -- JSON: what the partner has answered so far
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    version BIGINT NOT NULL
);

CREATE TABLE sheets (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    valid_from TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    UNIQUE (outlet_id, sha256, valid_from)
);
CREATE INDEX sheets_outlet ON sheets (outlet_id, valid_from, at);

CREATE TABLE quotes (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    sheet_id TEXT NOT NULL REFERENCES sheets (id),
    position BIGINT NOT NULL,
    wording TEXT NOT NULL,                  -- as the sheet has it
    grade_id TEXT,                          -- null: not one of the shop's grades
    price TEXT,                             -- null: on request
    price_high TEXT,
    currency TEXT NOT NULL,
    unit TEXT NOT NULL,
    from_ug BIGINT NOT NULL,
    source TEXT NOT NULL,                   -- the line or cells as they stood
    place TEXT NOT NULL,                    -- where in the sheet
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);
CREATE INDEX quotes_sheet ON quotes (sheet_id, position);
CREATE INDEX quotes_grade ON quotes (shop_id, grade_id);

-- What an outlet means by its wordings, as confirmed.
CREATE TABLE wordings (
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    wording TEXT NOT NULL,                  -- normalised
    shop_id TEXT NOT NULL REFERENCES shops (id),
    grade_id TEXT,                          -- null: none of ours, leave it out
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    PRIMARY KEY (outlet_id, wording),
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);

-- What partners have told the sell plan.
CREATE TABLE plan_pins (
    lot_id TEXT PRIMARY KEY REFERENCES lots (id),
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT REFERENCES outlets (id), -- null: keep it
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);

CREATE TABLE plan_bars (
    lot_id TEXT NOT NULL REFERENCES lots (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    shop_id TEXT NOT NULL REFERENCES shops (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    PRIMARY KEY (lot_id, outlet_id)
);

CREATE TABLE plan_closures (
    outlet_id TEXT PRIMARY KEY REFERENCES outlets (id),
    shop_id TEXT NOT NULL REFERENCES shops (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);

CREATE TABLE shipments (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    expected TEXT NOT NULL,                 -- JSON: lines, steps and parcels as they stood when it was made
    expected_net TEXT NOT NULL,             -- exact, home currency
    made_by TEXT NOT NULL REFERENCES partners (id),
    made_at TEXT NOT NULL,
    sent_by TEXT REFERENCES partners (id),
    sent_at TEXT,
    cancelled_by TEXT REFERENCES partners (id),
    cancelled_at TEXT,
    version BIGINT NOT NULL
);

CREATE TABLE shipment_lots (
    shipment_id TEXT NOT NULL REFERENCES shipments (id),
    lot_id TEXT NOT NULL REFERENCES lots (id),
    net_ug BIGINT NOT NULL,                 -- as it stood when the shipment was made
    pieces BIGINT NOT NULL,
    released_at TEXT,                       -- set when the shipment was cancelled
    PRIMARY KEY (shipment_id, lot_id)
);
-- A lot is in one shipment at a time.
CREATE UNIQUE INDEX shipment_lots_reserved ON shipment_lots (lot_id) WHERE released_at IS NULL;
