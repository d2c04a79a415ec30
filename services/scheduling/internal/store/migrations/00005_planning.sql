-- +goose Up
-- What other services tell: products, what is ordered of them, the slots of the
-- yards and what was granted of them. Each row keeps the newest version told.
CREATE TABLE product (
    coop_id          uuid   NOT NULL,
    product_id       text   NOT NULL,
    name             text   NOT NULL,
    species          text   NOT NULL,
    pick_stage       text   NOT NULL, -- empty for species without stages
    pack_grams       bigint NOT NULL CHECK (pack_grams > 0),
    pack_value_minor bigint NOT NULL CHECK (pack_value_minor >= 0),
    version          bigint NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, product_id)
);
SELECT coop_scoped('product');

CREATE TABLE customer_order (
    coop_id       uuid    NOT NULL,
    order_id      text    NOT NULL,
    delivery_date date    NOT NULL,
    cancelled     boolean NOT NULL,
    version       bigint  NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, order_id)
);
CREATE INDEX customer_order_day ON customer_order (coop_id, delivery_date);
SELECT coop_scoped('customer_order');

CREATE TABLE customer_order_line (
    coop_id    uuid   NOT NULL,
    order_id   text   NOT NULL,
    product_id text   NOT NULL,
    packs      bigint NOT NULL CHECK (packs > 0),
    PRIMARY KEY (coop_id, order_id, product_id),
    FOREIGN KEY (coop_id, order_id) REFERENCES customer_order
);
SELECT coop_scoped('customer_order_line');

CREATE TABLE yard_slot (
    coop_id               uuid     NOT NULL,
    slot_id               text     NOT NULL,
    yard_id               text     NOT NULL,
    ready_date            date     NOT NULL,
    phase                 smallint NOT NULL CHECK (phase BETWEEN 1 AND 3),
    capacity_kg           bigint   NOT NULL CHECK (capacity_kg > 0),
    price_minor_per_tonne bigint   NOT NULL CHECK (price_minor_per_tonne >= 0),
    told_at               timestamptz NOT NULL, -- when it was last told to be otherwise
    revision              integer     NOT NULL CHECK (revision >= 0), -- how often that was
    PRIMARY KEY (coop_id, slot_id)
);
CREATE INDEX yard_slot_day ON yard_slot (coop_id, ready_date);
SELECT coop_scoped('yard_slot');

-- No foreign key: a grant may be told of before its slot.
CREATE TABLE slot_grant (
    coop_id    uuid   NOT NULL,
    slot_id    text   NOT NULL,
    round_id   text   NOT NULL,
    request_id text   NOT NULL,
    granted_kg bigint NOT NULL CHECK (granted_kg >= 0),
    PRIMARY KEY (coop_id, slot_id, round_id, request_id)
);
SELECT coop_scoped('slot_grant');

-- A coordinator's own figures; grams is absent where the figure was taken back.
CREATE TABLE demand_override (
    coop_id    uuid        NOT NULL,
    product_id text        NOT NULL,
    week       date        NOT NULL CHECK (extract(isodow FROM week) = 1),
    grams      bigint      CHECK (grams >= 0),
    reason     text        NOT NULL CHECK (reason <> ''),
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, product_id, week)
);
SELECT coop_scoped('demand_override');

-- The planner's prices and wishes: one row, as the protobuf message that the
-- coordinator saved, since nothing in it is ever asked for by itself.
CREATE TABLE planning_settings (
    coop_id    uuid        NOT NULL PRIMARY KEY,
    settings   bytea       NOT NULL,
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL
);
SELECT coop_scoped('planning_settings');

-- Calendars at private addresses. Only a hash of the secret is kept.
CREATE TABLE feed (
    coop_id     uuid        NOT NULL,
    feed_id     uuid        NOT NULL,
    kind        text        NOT NULL CHECK (kind IN ('farm', 'room', 'yard')),
    target_id   text        NOT NULL CHECK (target_id <> ''),
    secret_hash bytea       NOT NULL CHECK (length(secret_hash) = 32),
    created_by  text        NOT NULL,
    created_at  timestamptz NOT NULL,
    revoked_at  timestamptz,
    PRIMARY KEY (coop_id, feed_id),
    UNIQUE (coop_id, secret_hash)
);
SELECT coop_scoped('feed');

-- +goose Down
DROP TABLE feed;
DROP TABLE planning_settings;
DROP TABLE demand_override;
DROP TABLE slot_grant;
DROP TABLE yard_slot;
DROP TABLE customer_order_line;
DROP TABLE customer_order;
DROP TABLE product;
