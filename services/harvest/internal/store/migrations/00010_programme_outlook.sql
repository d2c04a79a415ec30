-- +goose Up
-- What the programme alone would have said, beside the model that has learnt from
-- the co-op's ended crops: the score shows what the learning is worth.
ALTER TABLE outlook
    ADD COLUMN programme_low    bigint, -- NULL where the model cannot say
    ADD COLUMN programme_likely bigint,
    ADD COLUMN programme_high   bigint;

-- +goose Down
ALTER TABLE outlook DROP COLUMN programme_low, DROP COLUMN programme_likely, DROP COLUMN programme_high;
