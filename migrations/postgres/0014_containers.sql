-- Containers in the order that they are counted in, Bag 2 before Bag 12, so that a page of them is read and not all.

DROP INDEX containers_in_use;
CREATE INDEX containers_in_use ON containers (shop_id, kind, lower(rtrim(label, '0123456789')),
    length(ltrim(substr(label, length(rtrim(label, '0123456789')) + 1), '0')), label, id) WHERE retired_at IS NULL;
CREATE INDEX containers_out_of_use ON containers (shop_id, retired_at, id) WHERE retired_at IS NOT NULL;
