-- +goose Up
-- Tunnels and rooms other than growing rooms. farm_id is empty for those that
-- the whole co-op uses.
CREATE TABLE facility (
    coop_id     uuid        NOT NULL,
    facility_id text        NOT NULL CHECK (facility_id <> ''),
    farm_id     text        NOT NULL,
    name        text        NOT NULL CHECK (name <> ''),
    place       text        NOT NULL CHECK (place IN ('tunnel', 'phase II room', 'spawn-run room')),
    version     bigint      NOT NULL CHECK (version > 0),
    changed_by  text        NOT NULL,
    changed_at  timestamptz NOT NULL,
    PRIMARY KEY (coop_id, facility_id)
);
SELECT coop_scoped('facility');

-- Where a crop passes through, and on which days as last computed; the last one
-- excluded, and neither where it no longer holds the place.
CREATE TABLE crop_facility (
    coop_id        uuid NOT NULL,
    crop_id        text NOT NULL,
    place          text NOT NULL,
    facility_id    text NOT NULL,
    load           text NOT NULL, -- empty for a tunnel to itself
    occupied_from  date,
    occupied_until date,
    PRIMARY KEY (coop_id, crop_id, place),
    FOREIGN KEY (coop_id, crop_id) REFERENCES crop,
    FOREIGN KEY (coop_id, facility_id) REFERENCES facility,
    CHECK ((occupied_from IS NULL) = (occupied_until IS NULL)),
    CHECK (occupied_from < occupied_until)
);
CREATE INDEX crop_facility_days ON crop_facility (coop_id, facility_id, occupied_until);
SELECT coop_scoped('crop_facility');

-- What holds a crop up: its next stage is overdue, or its room not free.
ALTER TABLE crop ADD COLUMN not_before date;

-- The co-op's working days: one row. Rules and marked days are kept as JSON, since
-- they are only ever read and written together.
CREATE TABLE working_days (
    coop_id     uuid        NOT NULL PRIMARY KEY,
    rules       jsonb       NOT NULL,
    marked_days jsonb       NOT NULL,
    version     bigint      NOT NULL CHECK (version > 0),
    changed_by  text        NOT NULL,
    changed_at  timestamptz NOT NULL
);
SELECT coop_scoped('working_days');

-- +goose Down
DROP TABLE working_days;
ALTER TABLE crop DROP COLUMN not_before;
DROP TABLE crop_facility;
DROP TABLE facility;
