-- +goose Up
-- The co-op's settings: one row.
CREATE TABLE coop (
    coop_id       uuid        NOT NULL PRIMARY KEY,
    name          text        NOT NULL CHECK (name <> ''),
    time_zone     text        NOT NULL CHECK (time_zone <> ''),
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    version       bigint      NOT NULL CHECK (version > 0),
    changed_by    text        NOT NULL,
    changed_at    timestamptz NOT NULL
);
SELECT coop_scoped('coop');

CREATE TABLE farm (
    coop_id                 uuid        NOT NULL,
    farm_id                 text        NOT NULL CHECK (farm_id <> ''),
    name                    text        NOT NULL CHECK (name <> ''),
    place                   text        NOT NULL, -- empty where not told
    member_shares           integer     NOT NULL CHECK (member_shares > 0),
    carry_cost_minor_per_kg bigint      NOT NULL CHECK (carry_cost_minor_per_kg >= 0),
    version                 bigint      NOT NULL CHECK (version > 0),
    changed_by              text        NOT NULL,
    changed_at              timestamptz NOT NULL,
    PRIMARY KEY (coop_id, farm_id)
);
SELECT coop_scoped('farm');

CREATE TABLE room (
    coop_id        uuid        NOT NULL,
    room_id        text        NOT NULL CHECK (room_id <> ''),
    farm_id        text        NOT NULL,
    name           text        NOT NULL CHECK (name <> ''),
    area_m2        integer     NOT NULL CHECK (area_m2 > 0),
    growing_system text        NOT NULL CHECK (growing_system IN
        ('trays', 'shelves', 'bulk phase II', 'bulk phase III', 'bags or blocks')),
    version        bigint      NOT NULL CHECK (version > 0),
    changed_by     text        NOT NULL,
    changed_at     timestamptz NOT NULL,
    PRIMARY KEY (coop_id, room_id),
    FOREIGN KEY (coop_id, farm_id) REFERENCES farm
);
CREATE INDEX room_farm ON room (coop_id, farm_id);
SELECT coop_scoped('room');

-- +goose Down
DROP TABLE room;
DROP TABLE farm;
DROP TABLE coop;
