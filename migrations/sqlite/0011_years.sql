-- What is asked on many pages has an index of its own, so that they open after ten years of a busy shop as they did in its
-- first.
CREATE INDEX weighings_in ON weighings (shop_id, at) WHERE kind = 'weigh-in';
CREATE INDEX containers_in_use ON containers (shop_id, label) WHERE retired_at IS NULL;
-- With these two a shipment that was paid is passed over without being read.
CREATE INDEX shipments_unended ON shipments (shop_id, disputed_at, id) WHERE cancelled_at IS NULL AND ended_at IS NULL;
CREATE INDEX settlements_papers ON settlements (shipment_id, kind, id);
DROP INDEX settlements_delivery;
CREATE INDEX settlements_stop ON settlements (run_stop_id, id) WHERE run_stop_id IS NOT NULL;
-- Of the unique one SQLite thinks little once it has counted its nulls (ANALYZE), and reads the whole table instead.
CREATE INDEX weighings_reversed ON weighings (reverses_id) WHERE reverses_id IS NOT NULL;
