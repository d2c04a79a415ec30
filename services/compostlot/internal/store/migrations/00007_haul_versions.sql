-- +goose Up
ALTER TABLE haul_cost ADD COLUMN version bigint NOT NULL DEFAULT 1 CHECK (version > 0);
ALTER TABLE haul_cost ALTER COLUMN version DROP DEFAULT;

-- +goose Down
ALTER TABLE haul_cost DROP COLUMN version;
