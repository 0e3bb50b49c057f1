-- From what was sent to what was paid for it.

-- A shipment is planned, packed, sent, received; or it came back, or was lost. One is settled by a row in `settlements`.
ALTER TABLE shipments ADD COLUMN packed_by TEXT REFERENCES partners (id);
ALTER TABLE shipments ADD COLUMN packed_at TEXT;
ALTER TABLE shipments ADD COLUMN received_by TEXT REFERENCES partners (id);
ALTER TABLE shipments ADD COLUMN received_at TEXT;
ALTER TABLE shipments ADD COLUMN ended_by TEXT REFERENCES partners (id);
ALTER TABLE shipments ADD COLUMN ended_at TEXT;
ALTER TABLE shipments ADD COLUMN ended_as TEXT;         -- returned or lost
ALTER TABLE shipments ADD COLUMN disputed_by TEXT REFERENCES partners (id);
ALTER TABLE shipments ADD COLUMN disputed_at TEXT;      -- null: nothing about its settlement is disputed
-- Until now, one that was made was packed.
UPDATE shipments SET packed_by = made_by, packed_at = made_at;

-- How a shipment was packed and carried, as it was told last. Rows are only added: one after sending says why.
CREATE TABLE waybills (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    shipment_id TEXT NOT NULL REFERENCES shipments (id),
    position BIGINT NOT NULL,               -- 1 for the first of a shipment
    carrier TEXT NOT NULL,
    tracking TEXT NOT NULL,                 -- the carrier's number
    currency TEXT NOT NULL,                 -- of the two costs
    freight_minor BIGINT,                   -- whole minor units; null: not known yet
    boxes_minor BIGINT,
    boxes TEXT NOT NULL,                    -- JSON: each box with its weight as packed
    why TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    UNIQUE (shipment_id, position)
);

-- What outlets paid, by their own papers. Rows are only added: a correction replaces one by naming it.
CREATE TABLE settlements (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    shipment_id TEXT REFERENCES shipments (id),
    run_stop_id TEXT,
    kind TEXT NOT NULL,                     -- paper, or withdrawn: what it replaces does not hold, and nothing in its place
    replaces_id TEXT UNIQUE REFERENCES settlements (id),
    why TEXT NOT NULL,                      -- it replaces another
    promise TEXT NOT NULL,                  -- JSON: what was sent and promised, as it stood
    number TEXT NOT NULL,                   -- the paper's own
    dated TEXT,
    currency TEXT NOT NULL,                 -- the paper's
    promised_minor BIGINT NOT NULL,         -- whole minor units of the paper's currency, signed
    paid_minor BIGINT NOT NULL,
    paid_on TEXT,                           -- null: not paid yet
    home_currency TEXT NOT NULL,
    promised_home_minor BIGINT NOT NULL,
    arrived_minor BIGINT,                   -- home currency; null: nobody knows yet
    bank_fee_minor BIGINT NOT NULL,         -- home currency
    rate TEXT,                              -- that the bank gave; null: not asked for
    sha256 TEXT,                            -- of the paper as it came
    note TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);
CREATE INDEX settlements_shop ON settlements (shop_id, at);
CREATE INDEX settlements_outlet ON settlements (outlet_id, at);
CREATE INDEX settlements_delivery ON settlements (shipment_id);
-- A delivery is settled once; what comes after that replaces it.
CREATE UNIQUE INDEX settlements_shipment ON settlements (shipment_id) WHERE replaces_id IS NULL;

-- Each lot of a delivery, with what was promised for it.
CREATE TABLE settlement_lots (
    settlement_id TEXT NOT NULL REFERENCES settlements (id),
    lot_id TEXT NOT NULL REFERENCES lots (id),
    shop_id TEXT NOT NULL REFERENCES shops (id),
    grade_id TEXT NOT NULL,                 -- as it was sent
    net_ug BIGINT NOT NULL,                 -- by the shop's scale
    counted_ug BIGINT NOT NULL,             -- what of it was to be paid for
    pieces BIGINT NOT NULL,
    price TEXT NOT NULL,
    unit TEXT NOT NULL,
    promised_minor BIGINT NOT NULL,
    PRIMARY KEY (settlement_id, lot_id),
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);
CREATE INDEX settlement_lots_lot ON settlement_lots (lot_id);

CREATE TABLE settlement_lines (
    settlement_id TEXT NOT NULL REFERENCES settlements (id),
    position BIGINT NOT NULL,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    kind TEXT NOT NULL,                     -- line, fee or deduction
    wording TEXT NOT NULL,                  -- as the paper has it
    grade_id TEXT,                          -- that it was paid as; null: none of the shop's
    mass_ug BIGINT,                         -- by their scale
    pieces BIGINT,
    price TEXT,
    unit TEXT,
    amount_minor BIGINT NOT NULL,           -- signed: a fee that takes away is negative
    PRIMARY KEY (settlement_id, position),
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);

-- What of a line falls to each lot that it pays for.
CREATE TABLE settlement_portions (
    settlement_id TEXT NOT NULL,
    position BIGINT NOT NULL,
    lot_id TEXT NOT NULL REFERENCES lots (id),
    mass_ug BIGINT,
    pieces BIGINT,
    amount_minor BIGINT NOT NULL,
    PRIMARY KEY (settlement_id, position, lot_id),
    FOREIGN KEY (settlement_id, position) REFERENCES settlement_lines (settlement_id, position)
);

-- A paper that is being entered. What was typed is kept as it was typed, until it is a settlement or thrown away.
CREATE TABLE settlement_drafts (
    id TEXT PRIMARY KEY,                    -- the settlement that is made of it has the same
    shop_id TEXT NOT NULL REFERENCES shops (id),
    outlet_id TEXT NOT NULL REFERENCES outlets (id),
    shipment_id TEXT REFERENCES shipments (id),
    run_stop_id TEXT,
    replaces_id TEXT REFERENCES settlements (id),
    typed TEXT NOT NULL,                    -- JSON
    sha256 TEXT,                            -- of the paper, where it was uploaded
    partner_id TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    version BIGINT NOT NULL
);
