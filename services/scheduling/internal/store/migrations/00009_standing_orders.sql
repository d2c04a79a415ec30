-- +goose Up
-- Who an order is for and where it came from, so that what standing orders ask for
-- is not counted twice. Of orders told of before, neither is known.
ALTER TABLE customer_order
    ADD COLUMN customer_id text NOT NULL DEFAULT '',
    ADD COLUMN origin      text NOT NULL DEFAULT 'hand' CHECK (origin IN ('hand', 'standing'));

-- What the order service tells of standing orders: the newest version.
CREATE TABLE standing_order (
    coop_id           uuid    NOT NULL,
    standing_order_id text    NOT NULL,
    customer_id       text    NOT NULL,
    from_date         date    NOT NULL,
    until_date        date    CHECK (until_date >= from_date), -- the last day; absent for no end
    live              boolean NOT NULL,                        -- neither paused nor ended
    version           bigint  NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, standing_order_id)
);
SELECT coop_scoped('standing_order');

CREATE TABLE standing_order_line (
    coop_id           uuid     NOT NULL,
    standing_order_id text     NOT NULL,
    product_id        text     NOT NULL,
    weekday           smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7), -- ISO 8601: 1 is Monday
    packs             bigint   NOT NULL CHECK (packs > 0),
    PRIMARY KEY (coop_id, standing_order_id, product_id, weekday),
    FOREIGN KEY (coop_id, standing_order_id) REFERENCES standing_order
);
SELECT coop_scoped('standing_order_line');

CREATE TABLE standing_order_rest (
    coop_id           uuid NOT NULL,
    standing_order_id text NOT NULL,
    from_date         date NOT NULL,
    until_date        date NOT NULL CHECK (until_date >= from_date), -- the last day
    PRIMARY KEY (coop_id, standing_order_id, from_date),
    FOREIGN KEY (coop_id, standing_order_id) REFERENCES standing_order
);
SELECT coop_scoped('standing_order_rest');

-- +goose Down
DROP TABLE standing_order_rest;
DROP TABLE standing_order_line;
DROP TABLE standing_order;
ALTER TABLE customer_order DROP COLUMN origin, DROP COLUMN customer_id;
