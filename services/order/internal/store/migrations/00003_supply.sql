-- +goose Up
-- What other services told of: read models, kept at the highest version seen.

-- One pick lot, expected or picked. The expectation and the lot have versions of their own.
CREATE TABLE supply (
    coop_id       uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id   text        NOT NULL CHECK (pick_lot_id <> ''),
    farm_id       text        NOT NULL CHECK (farm_id <> ''),
    room_id       text        NOT NULL CHECK (room_id <> ''),
    product_id    text        NOT NULL CHECK (product_id <> ''),
    pick_date     date        NOT NULL,
    low_grams     bigint      CHECK (low_grams >= 0),          -- NULL until somebody pushed
    likely_grams  bigint      CHECK (likely_grams >= low_grams),
    high_grams    bigint      CHECK (high_grams >= likely_grams),
    push_version  bigint      NOT NULL DEFAULT 0 CHECK (push_version >= 0),
    pushed_by     text,
    pushed_at     timestamptz,
    picked_grams  bigint      CHECK (picked_grams > 0),        -- NULL until something was picked
    held          boolean     NOT NULL DEFAULT false,
    hold_reason   text        NOT NULL DEFAULT '',
    lot_version   bigint      NOT NULL DEFAULT 0 CHECK (lot_version >= 0),
    told_at       timestamptz NOT NULL,                        -- when the newest of its figures was told
    PRIMARY KEY (coop_id, pick_lot_id),
    CHECK ((push_version > 0) = (likely_grams IS NOT NULL)),
    CHECK ((likely_grams IS NULL) = (low_grams IS NULL) AND (likely_grams IS NULL) = (high_grams IS NULL))
);
CREATE INDEX supply_day ON supply (coop_id, pick_date);
SELECT coop_scoped('supply');

CREATE TABLE farm (
    coop_id                 uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    farm_id                 text   NOT NULL CHECK (farm_id <> ''),
    name                    text   NOT NULL,
    carry_cost_minor_per_kg bigint NOT NULL CHECK (carry_cost_minor_per_kg >= 0),
    version                 bigint NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, farm_id)
);
SELECT coop_scoped('farm');

CREATE TABLE coop (
    coop_id       uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    name          text   NOT NULL,
    time_zone     text   NOT NULL,
    currency_code text   NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    version       bigint NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('coop');

-- +goose Down
DROP TABLE coop;
DROP TABLE farm;
DROP TABLE supply;
