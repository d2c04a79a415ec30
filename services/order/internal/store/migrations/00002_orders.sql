-- +goose Up
CREATE TABLE order_head (
    coop_id       uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    order_id      text        NOT NULL CHECK (order_id <> ''),
    customer_id   text        NOT NULL,
    delivery_date date        NOT NULL,
    state         text        NOT NULL CHECK (state IN ('placed', 'cancelled')),
    version       bigint      NOT NULL CHECK (version > 0),
    changed_by    text        NOT NULL,
    changed_at    timestamptz NOT NULL,
    PRIMARY KEY (coop_id, order_id),
    FOREIGN KEY (coop_id, customer_id) REFERENCES customer
);
CREATE INDEX order_head_day ON order_head (coop_id, delivery_date, customer_id);
SELECT coop_scoped('order_head');

CREATE TABLE order_line (
    coop_id    uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    order_id   text    NOT NULL,
    product_id text    NOT NULL,
    position   integer NOT NULL CHECK (position > 0), -- as the customer wrote them
    packs      bigint  NOT NULL CHECK (packs > 0),
    PRIMARY KEY (coop_id, order_id, product_id),
    FOREIGN KEY (coop_id, order_id) REFERENCES order_head,
    FOREIGN KEY (coop_id, product_id) REFERENCES product
);
SELECT coop_scoped('order_line');

-- +goose Down
DROP TABLE order_line;
DROP TABLE order_head;
