-- +goose Up
-- What was last told to be used of each expected pick.
CREATE TABLE expected_used (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id  text        NOT NULL,
    version      bigint      NOT NULL CHECK (version >= 1), -- of the expected pick
    low_grams    bigint      NOT NULL,
    likely_grams bigint      NOT NULL,
    high_grams   bigint      NOT NULL,
    used_at      timestamptz NOT NULL,
    PRIMARY KEY (coop_id, pick_lot_id),
    FOREIGN KEY (coop_id, pick_lot_id) REFERENCES pick_lot,
    CHECK (0 <= low_grams AND low_grams <= likely_grams AND likely_grams <= high_grams)
);
SELECT coop_scoped('expected_used');

-- How each lot in a store was last told to keep.
ALTER TABLE pick_lot
    ADD COLUMN store_tenths_c int,  -- NULL where no reading tells
    ADD COLUMN keeps_until    date; -- NULL where nobody can say

-- +goose Down
ALTER TABLE pick_lot DROP COLUMN store_tenths_c, DROP COLUMN keeps_until;
DROP TABLE expected_used;
