-- +goose Up
-- The limits of a programme, as scheduling answered: by step and kind.
CREATE TABLE programme_climate (
    coop_id      uuid  NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    programme_id text  NOT NULL CHECK (programme_id <> ''),
    version      int   NOT NULL CHECK (version >= 1),
    limits       jsonb NOT NULL,
    PRIMARY KEY (coop_id, programme_id, version)
);
SELECT coop_scoped('programme_climate');

CREATE TABLE climate_reading (
    coop_id uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    room_id text        NOT NULL,
    kind    smallint    NOT NULL CHECK (kind BETWEEN 1 AND 4), -- as in the contract
    time    timestamptz NOT NULL,
    value   int         NOT NULL,
    PRIMARY KEY (coop_id, room_id, kind, time)
);
SELECT coop_scoped('climate_reading');

-- Up to when the readings of a room and kind were checked.
CREATE TABLE climate_checked (
    coop_id uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    room_id text        NOT NULL,
    kind    smallint    NOT NULL,
    until   timestamptz NOT NULL,
    PRIMARY KEY (coop_id, room_id, kind)
);
SELECT coop_scoped('climate_checked');

CREATE TABLE climate_alert (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    alert_id   uuid        NOT NULL,
    room_id    text        NOT NULL,
    farm_id    text        NOT NULL,
    kind       smallint    NOT NULL,
    crop_id    text        NOT NULL,
    step       text        NOT NULL,
    least      bigint, -- NULL for no limit on that side
    most       bigint,
    since      timestamptz NOT NULL,
    last       timestamptz NOT NULL CHECK (last >= since),
    last_value bigint      NOT NULL,
    worst      bigint      NOT NULL,
    cleared_at timestamptz CHECK (cleared_at > last),
    PRIMARY KEY (coop_id, alert_id),
    CHECK (least IS NOT NULL OR most IS NOT NULL)
);
CREATE UNIQUE INDEX climate_alert_open ON climate_alert (coop_id, room_id, kind) WHERE cleared_at IS NULL;
CREATE INDEX climate_alert_since ON climate_alert (coop_id, since);
SELECT coop_scoped('climate_alert');

-- +goose Down
DROP TABLE climate_alert;
DROP TABLE climate_checked;
DROP TABLE climate_reading;
DROP TABLE programme_climate;
