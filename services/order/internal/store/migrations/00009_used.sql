-- +goose Up
-- What harvest uses of a push: the push and the forecast fused. NULL where the push is used as it is.
ALTER TABLE supply
    ADD COLUMN used_low_grams    bigint CHECK (used_low_grams >= 0),
    ADD COLUMN used_likely_grams bigint CHECK (used_likely_grams >= used_low_grams),
    ADD COLUMN used_high_grams   bigint CHECK (used_high_grams >= used_likely_grams),
    ADD COLUMN used_at           timestamptz,
    ADD CHECK ((used_likely_grams IS NULL) = (used_low_grams IS NULL) AND (used_likely_grams IS NULL) = (used_high_grams IS NULL)),
    ADD CHECK (used_likely_grams IS NULL OR push_version > 0);

-- How the lot is kept. NULL where nobody knows.
ALTER TABLE supply
    ADD COLUMN store_celsius double precision CHECK (store_celsius > -100 AND store_celsius < 100),
    ADD COLUMN keeps_until   date;

-- Packs that growers said are likely, beside the likely that was used. NULL in older matches.
ALTER TABLE match_product ADD COLUMN said bigint CHECK (said >= 0);

-- +goose Down
ALTER TABLE match_product DROP COLUMN said;
ALTER TABLE supply
    DROP COLUMN used_low_grams, DROP COLUMN used_likely_grams, DROP COLUMN used_high_grams, DROP COLUMN used_at,
    DROP COLUMN store_celsius, DROP COLUMN keeps_until;
