-- +goose Up
ALTER TABLE probe_calibration ADD COLUMN version bigint NOT NULL DEFAULT 1 CHECK (version > 0);
ALTER TABLE probe_calibration ALTER COLUMN version DROP DEFAULT;

-- +goose Down
ALTER TABLE probe_calibration DROP COLUMN version;
