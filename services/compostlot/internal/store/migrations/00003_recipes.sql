-- +goose Up
-- The newest version of each recipe. The ingredients of every version stay: a lot
-- names the version by which it was made.
CREATE TABLE recipe (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    recipe_id  text        NOT NULL,
    yard_id    text        NOT NULL,
    name       text        NOT NULL CHECK (name <> ''),
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, recipe_id),
    FOREIGN KEY (coop_id, yard_id) REFERENCES yard
);
SELECT coop_scoped('recipe');

CREATE TABLE recipe_part (
    coop_id               uuid             NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    recipe_id             text             NOT NULL,
    version               bigint           NOT NULL CHECK (version > 0),
    number                integer          NOT NULL CHECK (number > 0), -- order as entered, from 1
    name                  text             NOT NULL CHECK (name <> ''),
    moisture              double precision NOT NULL CHECK (moisture BETWEEN 0 AND 100), -- % of wet mass
    nitrogen              double precision CHECK (nitrogen BETWEEN 0 AND 100),          -- % of dry matter
    carbon                double precision CHECK (carbon BETWEEN 0 AND 100),
    ash                   double precision CHECK (ash BETWEEN 0 AND 100),
    cn                    double precision CHECK (cn >= 0),
    price_minor_per_tonne bigint           NOT NULL CHECK (price_minor_per_tonne >= 0),
    gypsum                boolean          NOT NULL,
    grams                 bigint           NOT NULL CHECK (grams >= 0),
    unit                  smallint         NOT NULL, -- in which it was entered: MassUnit of the contract
    PRIMARY KEY (coop_id, recipe_id, version, number),
    FOREIGN KEY (coop_id, recipe_id) REFERENCES recipe,
    CHECK (num_nonnulls(carbon, ash, cn) <= 1),
    CHECK (nitrogen IS NOT NULL OR moisture = 100)
);
SELECT coop_scoped('recipe_part');

-- +goose Down
DROP TABLE recipe_part, recipe;
