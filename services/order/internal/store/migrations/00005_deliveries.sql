-- +goose Up
-- What left a farm, pack by pack, and what the customers say of it.
CREATE TABLE dispatch (
    coop_id       uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    dispatch_id   text        NOT NULL CHECK (dispatch_id <> ''),
    farm_id       text        NOT NULL,
    delivery_date date        NOT NULL,
    number        integer     NOT NULL CHECK (number > 0), -- of the farm's dispatches of the day, from 1
    match_id      text        NOT NULL,
    dispatched_at timestamptz NOT NULL,
    dispatched_by text        NOT NULL,
    PRIMARY KEY (coop_id, dispatch_id),
    UNIQUE (coop_id, delivery_date, farm_id, number),
    FOREIGN KEY (coop_id, match_id) REFERENCES match_run
);
SELECT coop_scoped('dispatch');

CREATE TABLE dispatch_line (
    coop_id     uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    dispatch_id text   NOT NULL,
    order_id    text   NOT NULL,
    product_id  text   NOT NULL,
    pick_lot_id text   NOT NULL,
    customer_id text   NOT NULL,
    packs       bigint NOT NULL CHECK (packs BETWEEN 1 AND allocated),
    allocated   bigint NOT NULL,
    PRIMARY KEY (coop_id, dispatch_id, order_id, product_id, pick_lot_id),
    FOREIGN KEY (coop_id, dispatch_id) REFERENCES dispatch,
    FOREIGN KEY (coop_id, order_id) REFERENCES order_head
);
CREATE INDEX dispatch_line_lot ON dispatch_line (coop_id, pick_lot_id);
CREATE INDEX dispatch_line_order ON dispatch_line (coop_id, order_id);
SELECT coop_scoped('dispatch_line');

CREATE TABLE pack (
    coop_id     uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pack_id     text    NOT NULL CHECK (pack_id <> ''),
    dispatch_id text    NOT NULL,
    number      integer NOT NULL CHECK (number > 0), -- in the dispatch, from 1
    order_id    text    NOT NULL,
    product_id  text    NOT NULL,
    pick_lot_id text    NOT NULL,
    confirmed   boolean NOT NULL DEFAULT false,      -- the customer confirmed the delivery
    PRIMARY KEY (coop_id, pack_id),
    UNIQUE (coop_id, dispatch_id, number),
    FOREIGN KEY (coop_id, dispatch_id, order_id, product_id, pick_lot_id) REFERENCES dispatch_line
);
CREATE INDEX pack_lot ON pack (coop_id, pick_lot_id);
CREATE INDEX pack_order ON pack (coop_id, order_id);
SELECT coop_scoped('pack');

CREATE TABLE delivery (
    coop_id          uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    order_id         text        NOT NULL,
    dispatched_packs bigint      NOT NULL CHECK (dispatched_packs > 0),
    received_packs   bigint      NOT NULL CHECK (received_packs BETWEEN 0 AND dispatched_packs),
    remark           text        NOT NULL,
    confirmed_by     text        NOT NULL,
    confirmed_at     timestamptz NOT NULL,
    PRIMARY KEY (coop_id, order_id),
    FOREIGN KEY (coop_id, order_id) REFERENCES order_head
);
SELECT coop_scoped('delivery');

-- +goose Down
DROP TABLE delivery;
DROP TABLE pack;
DROP TABLE dispatch_line;
DROP TABLE dispatch;
