-- +goose Up
-- coop_id is filled in from the transaction's scope, and row-level security adds
-- it to every condition: statements of the service do not name it.

-- What scheduling tells of: the newest version known. Version 0 was asked for
-- before any event came.
CREATE TABLE coop (
    coop_id   uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    time_zone text   NOT NULL CHECK (time_zone <> ''),
    version   bigint NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('coop');

CREATE TABLE farm (
    coop_id       uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    farm_id       text    NOT NULL,
    member_shares integer NOT NULL CHECK (member_shares > 0),
    version       bigint  NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id, farm_id)
);
SELECT coop_scoped('farm');

CREATE TABLE room (
    coop_id uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    room_id text   NOT NULL,
    farm_id text   NOT NULL,
    version bigint NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id, room_id)
);
SELECT coop_scoped('room');

CREATE TABLE crop (
    coop_id       uuid     NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    crop_id       text     NOT NULL,
    room_id       text     NOT NULL,
    farm_id       text     NOT NULL,
    ended         boolean  NOT NULL,
    fill_date     date     NOT NULL,
    compost_grams bigint   CHECK (compost_grams > 0), -- what the fill needs; NULL where it takes none
    compost_phase smallint CHECK (compost_phase BETWEEN 1 AND 3),
    version       bigint   NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id, crop_id)
);
SELECT coop_scoped('crop');

CREATE TABLE yard (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    yard_id    text        NOT NULL,
    name       text        NOT NULL CHECK (name <> ''),
    place      text        NOT NULL,
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, yard_id)
);
SELECT coop_scoped('yard');

CREATE TABLE slot (
    coop_id               uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    slot_id               text        NOT NULL,
    yard_id               text        NOT NULL,
    ready_date            date        NOT NULL,
    phase                 smallint    NOT NULL CHECK (phase BETWEEN 1 AND 3),
    capacity_kg           bigint      NOT NULL CHECK (capacity_kg > 0),
    smallest_lot_kg       bigint      NOT NULL CHECK (smallest_lot_kg BETWEEN 0 AND capacity_kg),
    price_minor_per_tonne bigint      NOT NULL CHECK (price_minor_per_tonne >= 0),
    request_cutoff        timestamptz NOT NULL,
    state                 text        NOT NULL CHECK (state IN ('open', 'shared')),
    -- Not yet granted. A round subtracts from it under the row's lock, so that
    -- the shares of a slot can never add up to more than its capacity.
    free_kg               bigint      NOT NULL CHECK (free_kg BETWEEN 0 AND capacity_kg),
    version               bigint      NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, slot_id),
    FOREIGN KEY (coop_id, yard_id) REFERENCES yard,
    CHECK (state = 'shared' OR free_kg = capacity_kg)
);
SELECT coop_scoped('slot');
CREATE INDEX slot_ready ON slot (coop_id, ready_date, slot_id);

CREATE TABLE round (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    round_id     text        NOT NULL,
    number       bigint      NOT NULL CHECK (number > 0),
    slot_ids     text[]      NOT NULL,
    exact        boolean     NOT NULL,
    most_kg      bigint      NOT NULL CHECK (most_kg >= 0),
    confirmed_at timestamptz NOT NULL,
    confirmed_by text        NOT NULL,
    PRIMARY KEY (coop_id, round_id),
    UNIQUE (coop_id, number)
);
SELECT coop_scoped('round');

CREATE TABLE compost_request (
    coop_id            uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    compost_request_id text        NOT NULL,
    farm_id            text        NOT NULL,
    room_id            text        NOT NULL,
    crop_id            text        CHECK (crop_id <> ''),
    wanted_kg          bigint      NOT NULL CHECK (wanted_kg > 0),
    smallest_useful_kg bigint      NOT NULL CHECK (smallest_useful_kg BETWEEN 0 AND wanted_kg),
    whole_fill         boolean     NOT NULL,
    earliest_date      date        NOT NULL,
    latest_date        date        NOT NULL CHECK (latest_date >= earliest_date),
    phases             smallint[]  NOT NULL CHECK (cardinality(phases) BETWEEN 1 AND 3 AND phases <@ ARRAY[1, 2, 3]::smallint[]),
    asked_at           timestamptz NOT NULL,
    round_id           text, -- the round that gave it a share; NULL while it waits
    version            bigint      NOT NULL CHECK (version > 0),
    changed_by         text        NOT NULL,
    changed_at         timestamptz NOT NULL,
    PRIMARY KEY (coop_id, compost_request_id),
    FOREIGN KEY (coop_id, round_id) REFERENCES round
);
SELECT coop_scoped('compost_request');
CREATE INDEX compost_request_waiting ON compost_request (coop_id, earliest_date) WHERE round_id IS NULL;

CREATE TABLE share (
    coop_id            uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    round_id           text   NOT NULL,
    compost_request_id text   NOT NULL,
    farm_id            text   NOT NULL,
    room_id            text   NOT NULL,
    wanted_kg          bigint NOT NULL CHECK (wanted_kg > 0),
    granted_kg         bigint NOT NULL CHECK (granted_kg BETWEEN 0 AND wanted_kg),
    limited_by         text   NOT NULL CHECK (limited_by IN ('asked_in_full', 'slots_full', 'no_slot_in_window', 'below_smallest')),
    explanation        text   NOT NULL,
    PRIMARY KEY (coop_id, round_id, compost_request_id),
    FOREIGN KEY (coop_id, round_id) REFERENCES round,
    FOREIGN KEY (coop_id, compost_request_id) REFERENCES compost_request
);
SELECT coop_scoped('share');
CREATE UNIQUE INDEX share_granted_once ON share (coop_id, compost_request_id) WHERE granted_kg > 0;

CREATE TABLE share_slot (
    coop_id            uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    round_id           text   NOT NULL,
    compost_request_id text   NOT NULL,
    slot_id            text   NOT NULL,
    granted_kg         bigint NOT NULL CHECK (granted_kg > 0),
    PRIMARY KEY (coop_id, round_id, compost_request_id, slot_id),
    FOREIGN KEY (coop_id, round_id, compost_request_id) REFERENCES share,
    FOREIGN KEY (coop_id, slot_id) REFERENCES slot
);
SELECT coop_scoped('share_slot');

-- +goose Down
DROP TABLE share_slot, share, compost_request, round, slot, yard, crop, room, farm, coop;
