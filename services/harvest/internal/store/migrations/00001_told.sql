-- +goose Up
-- What other services have told: harvest's own copy, newest version each.
-- Version 0 is an answer that harvest asked for before any event came.
CREATE TABLE room (
    coop_id uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    room_id text   NOT NULL CHECK (room_id <> ''),
    farm_id text   NOT NULL CHECK (farm_id <> ''),
    area_m2 int    NOT NULL CHECK (area_m2 > 0),
    version bigint NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id, room_id)
);
SELECT coop_scoped('room');

CREATE TABLE product (
    coop_id    uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    product_id text   NOT NULL CHECK (product_id <> ''),
    species    text   NOT NULL CHECK (species <> ''),
    version    bigint NOT NULL CHECK (version >= 0),
    PRIMARY KEY (coop_id, product_id)
);
SELECT coop_scoped('product');

CREATE TABLE crop (
    coop_id         uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    crop_id         text    NOT NULL CHECK (crop_id <> ''),
    room_id         text    NOT NULL CHECK (room_id <> ''),
    farm_id         text    NOT NULL CHECK (farm_id <> ''),
    species         text    NOT NULL CHECK (species <> ''),
    fill_date       date    NOT NULL, -- the real day where known, else the planned one
    first_pick_date date    NOT NULL,
    free_date       date    NOT NULL, -- first day after the crop
    filled          boolean NOT NULL, -- really in the room
    ended           boolean NOT NULL, -- really out of it
    version         bigint  NOT NULL CHECK (version >= 1),
    PRIMARY KEY (coop_id, crop_id)
);
CREATE INDEX crop_room ON crop (coop_id, room_id);
SELECT coop_scoped('crop');

CREATE TABLE compost_lot (
    coop_id          uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    compost_lot_id   text    NOT NULL CHECK (compost_lot_id <> ''),
    yard_id          text    NOT NULL CHECK (yard_id <> ''),
    slot_id          text    NOT NULL, -- empty where made for none
    released_by      text    NOT NULL, -- empty until released
    exception_reason text    NOT NULL, -- empty where released on evidence
    held             boolean NOT NULL,
    hold_reason      text    NOT NULL,
    version          bigint  NOT NULL CHECK (version >= 1),
    PRIMARY KEY (coop_id, compost_lot_id)
);
SELECT coop_scoped('compost_lot');

CREATE TABLE compost_delivery (
    coop_id        uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    delivery_id    text   NOT NULL CHECK (delivery_id <> ''),
    compost_lot_id text   NOT NULL CHECK (compost_lot_id <> ''),
    room_id        text   NOT NULL CHECK (room_id <> ''),
    crop_id        text   NOT NULL, -- as the yard noted it; empty where it did not
    delivered_kg   bigint NOT NULL CHECK (delivered_kg > 0),
    date           date   NOT NULL,
    PRIMARY KEY (coop_id, delivery_id)
);
CREATE INDEX compost_delivery_lot ON compost_delivery (coop_id, compost_lot_id);
CREATE INDEX compost_delivery_room ON compost_delivery (coop_id, room_id);
CREATE INDEX compost_delivery_crop ON compost_delivery (coop_id, crop_id) WHERE crop_id <> '';
SELECT coop_scoped('compost_delivery');

-- +goose Down
DROP TABLE compost_delivery;
DROP TABLE compost_lot;
DROP TABLE crop;
DROP TABLE product;
DROP TABLE room;
