-- +goose Up
-- A lot of which all was thrown away was picked, and has nothing left.
ALTER TABLE supply
    DROP CONSTRAINT supply_picked_grams_check,
    ADD CONSTRAINT supply_picked_grams_check CHECK (picked_grams >= 0);

-- +goose Down
UPDATE supply SET picked_grams = NULL WHERE picked_grams = 0;
ALTER TABLE supply
    DROP CONSTRAINT supply_picked_grams_check,
    ADD CONSTRAINT supply_picked_grams_check CHECK (picked_grams > 0);
