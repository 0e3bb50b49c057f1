-- What left to be used again by month and family, so that its page costs the same after ten years as after one. The ledger
-- holds it all: these are sums of it, made with its rows. No SQL knows where a zone's months begin, so the program adds up
-- what was there before, where it finds no book of the shop's zone.

CREATE TABLE diverted_books (
    shop_id TEXT PRIMARY KEY REFERENCES shops (id),
    zone TEXT NOT NULL                      -- whose months the sums are of
);

CREATE TABLE diverted_totals (
    shop_id TEXT NOT NULL REFERENCES shops (id),
    month TEXT NOT NULL,
    family TEXT NOT NULL,
    net_ug BIGINT NOT NULL,                 -- signed: more may have come back than left
    PRIMARY KEY (shop_id, month, family)
);
