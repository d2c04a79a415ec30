-- +goose Up
-- The units in which a co-op's pages show and take masses and temperatures. What
-- is stored stays in grams and degrees Celsius.
ALTER TABLE coop
    ADD COLUMN mass_unit        text NOT NULL DEFAULT 'kg' CHECK (mass_unit IN ('kg', 'lb')),
    ADD COLUMN temperature_unit text NOT NULL DEFAULT 'C' CHECK (temperature_unit IN ('C', 'F'));

-- +goose Down
ALTER TABLE coop DROP COLUMN mass_unit, DROP COLUMN temperature_unit;
