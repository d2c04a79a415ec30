-- +goose Up
-- The reference is not checked for rows that stand: they name no recipe, and the owner of the
-- tables, whom row-level security binds too, could not read them.
ALTER TABLE lot
    ADD COLUMN recipe_id text,
    ADD COLUMN recipe_version bigint,
    ADD FOREIGN KEY (coop_id, recipe_id) REFERENCES recipe NOT VALID,
    ADD CHECK ((recipe_id IS NULL) = (recipe_version IS NULL));

-- Marks of wetting, levelling and the spawn run; carbon dioxide and hydrogen sulphide.
ALTER TABLE lot_mark DROP CONSTRAINT lot_mark_mark_check, ADD CHECK (mark BETWEEN 1 AND 9);
ALTER TABLE probe_calibration DROP CONSTRAINT probe_calibration_kind_check, ADD CHECK (kind BETWEEN 1 AND 9);
ALTER TABLE reading_day DROP CONSTRAINT reading_day_kind_check, ADD CHECK (kind BETWEEN 1 AND 9);

CREATE TABLE lot_turn (
    coop_id     uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id      text        NOT NULL,
    number      integer     NOT NULL CHECK (number > 0), -- within the lot, from 1
    time        timestamptz NOT NULL,
    kind        smallint    NOT NULL CHECK (kind BETWEEN 1 AND 4),
    water_grams bigint      NOT NULL CHECK (water_grams >= 0),
    water_unit  smallint    NOT NULL, -- in which it was entered; 0 without water
    note        text        NOT NULL,
    entered_by  text        NOT NULL,
    entered_at  timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id, number),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot
);
SELECT coop_scoped('lot_turn');

-- What a turn put in; the columns of recipe_part.
CREATE TABLE lot_supplement (
    coop_id               uuid             NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id                text             NOT NULL,
    turn                  integer          NOT NULL,
    number                integer          NOT NULL CHECK (number > 0),
    name                  text             NOT NULL CHECK (name <> ''),
    moisture              double precision NOT NULL CHECK (moisture BETWEEN 0 AND 100),
    nitrogen              double precision CHECK (nitrogen BETWEEN 0 AND 100),
    carbon                double precision CHECK (carbon BETWEEN 0 AND 100),
    ash                   double precision CHECK (ash BETWEEN 0 AND 100),
    cn                    double precision CHECK (cn >= 0),
    price_minor_per_tonne bigint           NOT NULL CHECK (price_minor_per_tonne >= 0),
    gypsum                boolean          NOT NULL,
    grams                 bigint           NOT NULL CHECK (grams >= 0),
    unit                  smallint         NOT NULL,
    PRIMARY KEY (coop_id, lot_id, turn, number),
    FOREIGN KEY (coop_id, lot_id, turn) REFERENCES lot_turn,
    CHECK (num_nonnulls(carbon, ash, cn) <= 1),
    CHECK (nitrogen IS NOT NULL OR moisture = 100)
);
SELECT coop_scoped('lot_supplement');

CREATE TABLE heap_sample (
    coop_id    uuid             NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id     text             NOT NULL,
    time       timestamptz      NOT NULL,
    grams      bigint           NOT NULL CHECK (grams > 0),
    unit       smallint         NOT NULL,
    moisture   double precision NOT NULL CHECK (moisture >= 0 AND moisture < 100),
    nitrogen   double precision NOT NULL CHECK (nitrogen BETWEEN 0 AND 100),
    note       text             NOT NULL,
    entered_by text             NOT NULL,
    entered_at timestamptz      NOT NULL,
    PRIMARY KEY (coop_id, lot_id, time),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot
);
SELECT coop_scoped('heap_sample');

-- +goose Down
DROP TABLE heap_sample, lot_supplement, lot_turn;
ALTER TABLE lot DROP COLUMN recipe_id, DROP COLUMN recipe_version;
