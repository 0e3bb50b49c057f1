-- The cash book: every amount that came in or went out, each tied to its document. Rows of `cash_entries` and `hours` are
-- only added: a mistake is undone by a row that names it. Amounts are whole minor units of their currency (ISO 4217) and
-- signed: what comes in is above zero.

CREATE TABLE cash_entries (
    id TEXT PRIMARY KEY,                    -- made by the page, or from the document's, so that sent twice it is stored once
    shop_id TEXT NOT NULL REFERENCES shops (id),
    n BIGINT NOT NULL,                      -- counts the shop's entries from 1, without a gap
    day TEXT NOT NULL,                      -- that the money moved; a correction bears the day of what it corrects
    kind TEXT NOT NULL,                     -- sale, purchase, fee, freight, box, trip, labour, border, other, payout, paid-in
    amount BIGINT NOT NULL,
    currency TEXT NOT NULL,
    home_amount BIGINT,                     -- null: no rate yet; a later row with values_id brings it
    rate TEXT,                              -- home currency for one of the amount's; null: none is needed, or there is none yet
    document TEXT,                          -- settlement, shipment, run, pickup, transfer; null: entered by hand
    document_id TEXT,
    outlet_id TEXT REFERENCES outlets (id),
    grade_id TEXT,
    source_id TEXT,                         -- the pickup that it came from or went for
    partner_id TEXT REFERENCES partners (id),
    note TEXT NOT NULL,
    reverses_id TEXT UNIQUE REFERENCES cash_entries (id),
    values_id TEXT REFERENCES cash_entries (id), -- gives that entry a rate: no amount, only what it is worth at home
    entered_by TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL,
    UNIQUE (shop_id, n),
    FOREIGN KEY (shop_id, grade_id) REFERENCES grades (shop_id, id)
);
CREATE INDEX cash_entries_day ON cash_entries (shop_id, day, n);
CREATE INDEX cash_entries_document ON cash_entries (document_id) WHERE document_id IS NOT NULL;
CREATE INDEX cash_entries_source ON cash_entries (source_id) WHERE source_id IS NOT NULL;
CREATE INDEX cash_entries_values ON cash_entries (values_id) WHERE values_id IS NOT NULL;
CREATE INDEX cash_entries_unrated ON cash_entries (shop_id, day) WHERE home_amount IS NULL;

-- How many entries the book has. Whoever adds one takes this row first, so that they come one after the other.
CREATE TABLE cash_books (
    shop_id TEXT PRIMARY KEY REFERENCES shops (id),
    entries BIGINT NOT NULL
);

-- Sums of the entries by month, made with them; `check` adds the entries up again.
CREATE TABLE cash_totals (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    facet TEXT NOT NULL,                    -- all, outlet, grade, source or partner
    month TEXT NOT NULL,
    key TEXT NOT NULL,                      -- the outlet's, grade's, pickup's or partner's id; empty for all
    kind TEXT NOT NULL,
    currency TEXT NOT NULL,
    amount BIGINT NOT NULL,
    home_amount BIGINT NOT NULL,            -- of what has a rate
    entries BIGINT NOT NULL,
    unrated BIGINT NOT NULL,                -- entries that still want a rate
    PRIMARY KEY (shop_id, facet, month, key, kind, currency)
);

CREATE TABLE hours (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    day TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    minutes BIGINT NOT NULL,                -- signed: below zero where it undoes
    work TEXT NOT NULL,                     -- collecting, teardown, sorting, packing, driving or other
    document TEXT,
    document_id TEXT,
    note TEXT NOT NULL,
    reverses_id TEXT UNIQUE REFERENCES hours (id),
    entered_by TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);
CREATE INDEX hours_day ON hours (shop_id, day, at, id);

CREATE TABLE hour_totals (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    month TEXT NOT NULL,
    partner_id TEXT NOT NULL REFERENCES partners (id),
    work TEXT NOT NULL,
    minutes BIGINT NOT NULL,
    PRIMARY KEY (shop_id, month, partner_id, work)
);

-- How the partners share what the shop makes, from a month on. Of two words for one month the later counts.
CREATE TABLE splits (
    id TEXT PRIMARY KEY,
    shop_id TEXT NOT NULL REFERENCES shops (id),
    from_month TEXT NOT NULL,
    basis TEXT NOT NULL,                    -- hours or fixed
    set_by TEXT NOT NULL REFERENCES partners (id),
    at TEXT NOT NULL
);
CREATE INDEX splits_month ON splits (shop_id, from_month, at);

CREATE TABLE split_parts (
    split_id TEXT NOT NULL REFERENCES splits (id),
    partner_id TEXT NOT NULL REFERENCES partners (id),
    parts BIGINT NOT NULL,                  -- of ten thousand
    PRIMARY KEY (split_id, partner_id)
);
