-- Whether something is still to be done about a shipment stands in its row, where an index finds it: it hangs on what was
-- paid for it, which is looked up with each change and not with each page.

ALTER TABLE shipments ADD COLUMN written_off_by TEXT REFERENCES partners (id);
ALTER TABLE shipments ADD COLUMN written_off_at TEXT;       -- it was lost, and nothing will be paid for it
ALTER TABLE shipments ADD COLUMN is_open BIGINT NOT NULL DEFAULT 1;

UPDATE shipments SET is_open = CASE WHEN cancelled_at IS NULL AND COALESCE(ended_as, '') <> 'returned' AND CASE
    WHEN EXISTS (SELECT 1 FROM settlements t WHERE t.shipment_id = shipments.id AND t.kind = 'paper'
        AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id)) THEN disputed_at IS NOT NULL
    WHEN ended_as = 'lost' THEN NOT EXISTS (SELECT 1 FROM cash_entries e WHERE e.document = 'claim'
        AND e.document_id = shipments.id AND e.reverses_id IS NULL AND e.values_id IS NULL
        AND NOT EXISTS (SELECT 1 FROM cash_entries u WHERE u.reverses_id = e.id))
    ELSE TRUE END THEN 1 ELSE 0 END;

DROP INDEX shipments_unended;
CREATE INDEX shipments_followed ON shipments (shop_id, is_open, made_at, id);
