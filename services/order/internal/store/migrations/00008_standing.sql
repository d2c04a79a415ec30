-- +goose Up
-- Where an order comes from: placed by somebody, from standing orders, or from them and touched
-- by somebody since.
ALTER TABLE order_head ADD COLUMN origin text NOT NULL DEFAULT 'by_hand' CHECK (origin IN ('by_hand', 'standing', 'touched'));

-- What customers want week by week.
CREATE TABLE standing_order (
    coop_id           uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    standing_order_id text        NOT NULL CHECK (standing_order_id <> ''),
    customer_id       text        NOT NULL,
    from_date         date        NOT NULL,
    until_date        date        CHECK (until_date >= from_date), -- NULL for no end
    paused            boolean     NOT NULL,
    ended             boolean     NOT NULL,
    version           bigint      NOT NULL CHECK (version > 0),
    changed_by        text        NOT NULL,
    changed_at        timestamptz NOT NULL,
    PRIMARY KEY (coop_id, standing_order_id),
    FOREIGN KEY (coop_id, customer_id) REFERENCES customer
);
CREATE INDEX standing_order_customer ON standing_order (coop_id, customer_id);
SELECT coop_scoped('standing_order');

CREATE TABLE standing_line (
    coop_id           uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    standing_order_id text    NOT NULL,
    position          integer NOT NULL CHECK (position > 0), -- as the customer wrote them
    product_id        text    NOT NULL,
    packs             bigint  NOT NULL CHECK (packs > 0),
    smallest          bigint  NOT NULL CHECK (smallest BETWEEN 0 AND packs),
    weekdays          integer NOT NULL CHECK (weekdays BETWEEN 1 AND 127), -- bits: 1 is Monday, 64 Sunday
    PRIMARY KEY (coop_id, standing_order_id, position),
    FOREIGN KEY (coop_id, standing_order_id) REFERENCES standing_order,
    FOREIGN KEY (coop_id, product_id) REFERENCES product
);
SELECT coop_scoped('standing_line');

CREATE TABLE standing_rest (
    coop_id           uuid NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    standing_order_id text NOT NULL,
    from_date         date NOT NULL,
    until_date        date NOT NULL CHECK (until_date >= from_date),
    note              text NOT NULL,
    PRIMARY KEY (coop_id, standing_order_id, from_date),
    FOREIGN KEY (coop_id, standing_order_id) REFERENCES standing_order
);
SELECT coop_scoped('standing_rest');

-- The co-ops that have standing orders, and nothing else of them: what runs by the clock has no
-- caller and must know for whom to run. So the service may read all rows.
CREATE TABLE standing_roll (
    coop_id uuid NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('standing_roll');
-- +goose StatementBegin
DO $$
BEGIN
    EXECUTE format('CREATE POLICY roll ON standing_roll FOR SELECT TO %I USING (true)', 'breakshare_' || current_schema());
END
$$;
-- +goose StatementEnd

-- When customers may order, one row, and the days without deliveries.
CREATE TABLE ordering_settings (
    coop_id            uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    cutoff_time        text        CHECK (cutoff_time ~ '^[0-2][0-9]:[0-5][0-9]$'), -- NULL for no cut-off
    cutoff_days_before integer     NOT NULL CHECK (cutoff_days_before BETWEEN 0 AND 7),
    horizon_days       integer     NOT NULL CHECK (horizon_days BETWEEN 0 AND 60),
    version            bigint      NOT NULL CHECK (version > 0),
    changed_by         text        NOT NULL,
    changed_at         timestamptz NOT NULL,
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('ordering_settings');

CREATE TABLE closed_day (
    coop_id uuid NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    day     date NOT NULL,
    name    text NOT NULL CHECK (name <> ''),
    PRIMARY KEY (coop_id, day)
);
SELECT coop_scoped('closed_day');

-- What customers found wrong with what they got, or did not get.
CREATE TABLE receipt_problem (
    coop_id     uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    order_id    text    NOT NULL,
    position    integer NOT NULL CHECK (position > 0),
    product_id  text    NOT NULL,
    pick_lot_id text    NOT NULL, -- empty where it was not said
    kind        integer NOT NULL CHECK (kind > 0), -- breakshare.order.v1.ReceiptProblemKind
    packs       bigint  NOT NULL CHECK (packs > 0),
    remark      text    NOT NULL,
    PRIMARY KEY (coop_id, order_id, position),
    FOREIGN KEY (coop_id, order_id) REFERENCES delivery
);
SELECT coop_scoped('receipt_problem');

-- What crops need of spawn and casing, as scheduling told; without what is done or ended.
CREATE TABLE crop_need (
    coop_id      uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    crop_id      text   NOT NULL CHECK (crop_id <> ''),
    room_id      text   NOT NULL,
    farm_id      text   NOT NULL,
    species      text   NOT NULL,
    strain       text   NOT NULL,
    spawn_date   date,   -- NULL where none is needed any more
    spawn_grams  bigint NOT NULL CHECK (spawn_grams >= 0),
    casing_date  date,   -- NULL where none is needed, or any more
    casing_grams bigint NOT NULL CHECK (casing_grams >= 0),
    version      bigint NOT NULL CHECK (version > 0),
    PRIMARY KEY (coop_id, crop_id)
);
CREATE INDEX crop_need_spawn ON crop_need (coop_id, spawn_date);
CREATE INDEX crop_need_casing ON crop_need (coop_id, casing_date);
SELECT coop_scoped('crop_need');

-- +goose Down
DROP TABLE crop_need;
DROP TABLE receipt_problem;
DROP TABLE closed_day;
DROP TABLE ordering_settings;
DROP TABLE standing_roll;
DROP TABLE standing_rest;
DROP TABLE standing_line;
DROP TABLE standing_order;
ALTER TABLE order_head DROP COLUMN origin;
