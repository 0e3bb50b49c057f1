-- Whether the shop goes by what its settlements have taught (1), or by the outlets' terms alone (0).
ALTER TABLE shops ADD COLUMN learns BIGINT NOT NULL DEFAULT 1;
