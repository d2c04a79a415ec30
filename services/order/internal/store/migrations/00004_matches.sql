-- +goose Up
-- What is agreed for one day of delivery. confirmations counts how often a match of the day was
-- confirmed: it is a part of the etag of every match of the day.
CREATE TABLE match_day (
    coop_id       uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    delivery_date date    NOT NULL,
    runs          bigint  NOT NULL DEFAULT 0 CHECK (runs >= 0),
    confirmations bigint  NOT NULL DEFAULT 0 CHECK (confirmations >= 0),
    PRIMARY KEY (coop_id, delivery_date)
);
SELECT coop_scoped('match_day');

CREATE TABLE match_run (
    coop_id       uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    match_id      text        NOT NULL CHECK (match_id <> ''),
    delivery_date date        NOT NULL,
    number        bigint      NOT NULL CHECK (number > 0), -- of the day's runs, from 1
    state         text        NOT NULL CHECK (state IN ('proposed', 'confirmed', 'replaced')),
    run_at        timestamptz NOT NULL,
    run_by        text        NOT NULL,
    confirmed_at  timestamptz,
    confirmed_by  text,
    supply_as_of  timestamptz,
    nodes         integer     NOT NULL CHECK (nodes > 0),
    arcs          integer     NOT NULL CHECK (arcs > 0),
    cost          bigint      NOT NULL,
    solve_micros  bigint      NOT NULL CHECK (solve_micros >= 0),
    version       bigint      NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, match_id),
    UNIQUE (coop_id, delivery_date, number),
    FOREIGN KEY (coop_id, delivery_date) REFERENCES match_day,
    CHECK ((state = 'proposed') = (confirmed_at IS NULL)),
    CHECK ((confirmed_at IS NULL) = (confirmed_by IS NULL))
);
-- One match of a day is confirmed, whatever arrives at once.
CREATE UNIQUE INDEX match_run_confirmed ON match_run (coop_id, delivery_date) WHERE state = 'confirmed';
SELECT coop_scoped('match_run');

CREATE TABLE match_line (
    coop_id     uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    match_id    text   NOT NULL,
    order_id    text   NOT NULL,
    product_id  text   NOT NULL,
    customer_id text   NOT NULL,
    ordered     bigint NOT NULL CHECK (ordered > 0),
    matched     bigint NOT NULL CHECK (matched BETWEEN 0 AND ordered),
    reason      text   NOT NULL CHECK (reason IN ('', 'not_offered', 'higher_class', 'same_class', 'not_fit', 'not_enough')),
    explanation text   NOT NULL,
    PRIMARY KEY (coop_id, match_id, order_id, product_id),
    FOREIGN KEY (coop_id, match_id) REFERENCES match_run,
    CHECK ((matched = ordered) = (reason = '')),
    CHECK ((reason = '') = (explanation = ''))
);
SELECT coop_scoped('match_line');

CREATE TABLE match_allocation (
    coop_id     uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    match_id    text   NOT NULL,
    order_id    text   NOT NULL,
    product_id  text   NOT NULL,
    pick_lot_id text   NOT NULL,
    customer_id text   NOT NULL,
    farm_id     text   NOT NULL,
    room_id     text   NOT NULL,
    packs       bigint NOT NULL CHECK (packs > 0),
    PRIMARY KEY (coop_id, match_id, order_id, product_id, pick_lot_id),
    FOREIGN KEY (coop_id, match_id, order_id, product_id) REFERENCES match_line
);
SELECT coop_scoped('match_allocation');

CREATE TABLE match_product (
    coop_id    uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    match_id   text   NOT NULL,
    product_id text   NOT NULL,
    offered    bigint NOT NULL CHECK (offered >= 0),
    ordered    bigint NOT NULL CHECK (ordered >= 0),
    matched    bigint NOT NULL CHECK (matched >= 0 AND matched <= offered AND matched <= ordered),
    PRIMARY KEY (coop_id, match_id, product_id),
    FOREIGN KEY (coop_id, match_id) REFERENCES match_run
);
SELECT coop_scoped('match_product');

CREATE TABLE match_farm (
    coop_id  uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    match_id text   NOT NULL,
    farm_id  text   NOT NULL,
    offered  bigint NOT NULL CHECK (offered >= 0),
    matched  bigint NOT NULL CHECK (matched BETWEEN 0 AND offered),
    PRIMARY KEY (coop_id, match_id, farm_id),
    FOREIGN KEY (coop_id, match_id) REFERENCES match_run
);
SELECT coop_scoped('match_farm');

-- +goose Down
DROP TABLE match_farm;
DROP TABLE match_product;
DROP TABLE match_allocation;
DROP TABLE match_line;
DROP TABLE match_run;
DROP TABLE match_day;
