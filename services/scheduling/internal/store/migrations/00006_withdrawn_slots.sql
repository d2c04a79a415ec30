-- +goose Up
-- A slot that its yard has withdrawn gives nothing; it stays, so that calendars
-- can tell of it. Withdrawn once, it does not come back.
ALTER TABLE yard_slot ADD COLUMN withdrawn boolean NOT NULL DEFAULT false;

-- +goose Down
ALTER TABLE yard_slot DROP COLUMN withdrawn;
