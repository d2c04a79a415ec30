-- +goose Up
-- Who buys and what is sold.
CREATE TABLE customer (
    coop_id        uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    customer_id    text        NOT NULL CHECK (customer_id <> ''),
    name           text        NOT NULL CHECK (name <> ''),
    place          text        NOT NULL,
    priority_class integer     NOT NULL CHECK (priority_class BETWEEN 1 AND 9),
    version        bigint      NOT NULL CHECK (version > 0),
    changed_by     text        NOT NULL,
    changed_at     timestamptz NOT NULL,
    PRIMARY KEY (coop_id, customer_id)
);
SELECT coop_scoped('customer');

CREATE TABLE product (
    coop_id          uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    product_id       text        NOT NULL CHECK (product_id <> ''),
    name             text        NOT NULL CHECK (name <> ''),
    species          text        NOT NULL CHECK (species <> ''),
    strain           text        NOT NULL,
    pick_stage       integer     NOT NULL CHECK (pick_stage >= 0), -- breakshare.type.v1.PickStage
    size             text        NOT NULL,
    grade            text        NOT NULL,
    pack_grams       bigint      NOT NULL CHECK (pack_grams > 0),
    pack_value_minor bigint      NOT NULL CHECK (pack_value_minor >= 0),
    shelf_life_days  integer     NOT NULL CHECK (shelf_life_days >= 0),
    version          bigint      NOT NULL CHECK (version > 0),
    changed_by       text        NOT NULL,
    changed_at       timestamptz NOT NULL,
    PRIMARY KEY (coop_id, product_id)
);
SELECT coop_scoped('product');

-- +goose Down
DROP TABLE product;
DROP TABLE customer;
