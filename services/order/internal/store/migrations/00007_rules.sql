-- +goose Up
-- What customers wish: substitutes, grades, farms, zone, weight. An object in JSON, written one way
-- only, so that equal wishes are equal texts.
ALTER TABLE customer ADD COLUMN wishes text NOT NULL DEFAULT '{}' CHECK (jsonb_typeof(wishes::jsonb) = 'object');
ALTER TABLE order_line ADD COLUMN smallest bigint NOT NULL DEFAULT 0 CHECK (smallest BETWEEN 0 AND packs);
ALTER TABLE farm ADD COLUMN member_shares bigint CHECK (member_shares > 0); -- NULL until scheduling told

-- The co-op's rules for its matches, one row; the rules themselves in JSON.
CREATE TABLE match_settings (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    settings   text        NOT NULL CHECK (jsonb_typeof(settings::jsonb) = 'object'),
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('match_settings');

-- What coordinators decided by hand about lines of a day.
CREATE TABLE pin (
    coop_id        uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pin_id         text        NOT NULL CHECK (pin_id <> ''),
    delivery_date  date        NOT NULL,
    kind           integer     NOT NULL CHECK (kind BETWEEN 1 AND 3), -- packs, forbid, raise
    order_id       text        NOT NULL,
    product_id     text        NOT NULL,
    farm_id        text        NOT NULL,
    pick_lot_id    text        NOT NULL,
    packs          bigint      NOT NULL CHECK (packs >= 0),
    priority_class integer     NOT NULL CHECK (priority_class BETWEEN 0 AND 9),
    reason         text        NOT NULL CHECK (reason <> ''),
    made_by        text        NOT NULL,
    made_at        timestamptz NOT NULL,
    PRIMARY KEY (coop_id, pin_id),
    FOREIGN KEY (coop_id, order_id) REFERENCES order_head,
    CHECK (farm_id = '' OR pick_lot_id = '')
);
CREATE INDEX pin_day ON pin (coop_id, delivery_date);
SELECT coop_scoped('pin');

ALTER TABLE match_run
    ADD COLUMN phases integer NOT NULL DEFAULT 1 CHECK (phases >= 0),
    ADD COLUMN splits integer NOT NULL DEFAULT 0 CHECK (splits >= 0),
    ADD COLUMN gap_minor bigint[] NOT NULL DEFAULT '{}',
    ADD COLUMN value_minor bigint NOT NULL DEFAULT 0,
    ADD COLUMN pins_cost_minor bigint, -- NULL where nothing was pinned
    ADD COLUMN rebalanced_from text;   -- NULL for a match from nothing

ALTER TABLE match_line
    DROP CONSTRAINT match_line_reason_check,
    ADD CONSTRAINT match_line_reason_check CHECK (reason IN ('', 'not_offered', 'higher_class', 'same_class', 'not_fit',
        'not_enough', 'excluded', 'not_promised', 'too_few_of_use', 'by_hand')),
    -- Reasons with the packs that each keeps away, as reason=packs with commas between.
    ADD COLUMN binding text NOT NULL DEFAULT '',
    ADD COLUMN farms integer NOT NULL DEFAULT 0 CHECK (farms >= 0);

ALTER TABLE match_allocation ADD COLUMN packed_product_id text; -- NULL where it is the product ordered

ALTER TABLE match_product
    DROP CONSTRAINT match_product_check,
    ADD COLUMN given bigint, -- NULL in matches older than it, which gave what they matched
    ADD COLUMN more_worth_minor bigint NOT NULL DEFAULT 0 CHECK (more_worth_minor >= 0),
    ADD COLUMN fewer_cost_minor bigint,
    ADD COLUMN worth_minor_per_kg bigint NOT NULL DEFAULT 0 CHECK (worth_minor_per_kg >= 0),
    ADD COLUMN left_over text NOT NULL DEFAULT '',
    ADD COLUMN likely bigint, -- NULL in matches older than it, which offered what was likely
    ADD COLUMN pooled_gain_grams bigint NOT NULL DEFAULT 0;
ALTER TABLE match_product
    ADD CONSTRAINT match_product_matched_of_ordered CHECK (matched BETWEEN 0 AND ordered),
    ADD CONSTRAINT match_product_given_of_offered CHECK (given BETWEEN 0 AND offered),
    ADD CHECK (likely >= 0);

ALTER TABLE match_farm
    ADD COLUMN season_offered bigint NOT NULL DEFAULT 0 CHECK (season_offered >= 0),
    ADD COLUMN season_matched bigint NOT NULL DEFAULT 0 CHECK (season_matched >= 0);

-- +goose Down
ALTER TABLE match_farm DROP COLUMN season_offered, DROP COLUMN season_matched;
ALTER TABLE match_product
    DROP COLUMN given, DROP COLUMN more_worth_minor, DROP COLUMN fewer_cost_minor, DROP COLUMN worth_minor_per_kg,
    DROP COLUMN left_over, DROP COLUMN likely, DROP COLUMN pooled_gain_grams,
    DROP CONSTRAINT match_product_matched_of_ordered,
    ADD CONSTRAINT match_product_check CHECK (matched >= 0 AND matched <= offered AND matched <= ordered) NOT VALID;
ALTER TABLE match_allocation DROP COLUMN packed_product_id;
ALTER TABLE match_line
    DROP COLUMN binding, DROP COLUMN farms, DROP CONSTRAINT match_line_reason_check,
    ADD CONSTRAINT match_line_reason_check
        CHECK (reason IN ('', 'not_offered', 'higher_class', 'same_class', 'not_fit', 'not_enough')) NOT VALID;
ALTER TABLE match_run
    DROP COLUMN phases, DROP COLUMN splits, DROP COLUMN gap_minor, DROP COLUMN value_minor,
    DROP COLUMN pins_cost_minor, DROP COLUMN rebalanced_from;
DROP TABLE pin;
DROP TABLE match_settings;
ALTER TABLE farm DROP COLUMN member_shares;
ALTER TABLE order_line DROP COLUMN smallest;
ALTER TABLE customer DROP COLUMN wishes;
