-- +goose Up
-- One row per room, product and day, from the first expectation or weighing on.
-- The unit of stock and of tracing.
CREATE TABLE pick_lot (
    coop_id           uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id       text    NOT NULL CHECK (pick_lot_id <> ''),
    room_id           text    NOT NULL CHECK (room_id <> ''),
    product_id        text    NOT NULL CHECK (product_id <> ''),
    date              date    NOT NULL,
    farm_id           text    NOT NULL CHECK (farm_id <> ''),
    crop_id           text    NOT NULL CHECK (crop_id <> ''),
    -- What follows from the compost under the crop.
    compost_lot_ids   text[]  NOT NULL,
    compost_held      boolean NOT NULL,
    compost_reason    text    NOT NULL,
    compost_exception text    NOT NULL,
    -- Held for a reason of its own, by a person.
    held              boolean NOT NULL DEFAULT false,
    hold_reason       text    NOT NULL DEFAULT '',
    held_by           text    NOT NULL DEFAULT '',
    picks             bigint  NOT NULL DEFAULT 0 CHECK (picks >= 0),
    net_grams         bigint  NOT NULL DEFAULT 0 CHECK (net_grams >= picks), -- each weighs a gram at least
    version           bigint  NOT NULL DEFAULT 1 CHECK (version >= 1),
    PRIMARY KEY (coop_id, pick_lot_id),
    UNIQUE (coop_id, room_id, product_id, date),
    CHECK (compost_held OR compost_reason = ''),
    CHECK (held = (hold_reason <> '')),
    CHECK (held = (held_by <> ''))
);
CREATE INDEX pick_lot_date ON pick_lot (coop_id, date);
CREATE INDEX pick_lot_crop ON pick_lot (coop_id, crop_id);
SELECT coop_scoped('pick_lot');

-- +goose Down
DROP TABLE pick_lot;
