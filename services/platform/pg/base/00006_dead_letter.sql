-- +goose Up
-- What kind of event a dead one was, for people who look at it; those buried
-- before this do not tell. The index finds the few dead ones among all.
ALTER TABLE inbox ADD COLUMN type text;
CREATE INDEX inbox_dead ON inbox (coop_id, received_at DESC) WHERE outcome = 'dead';

-- +goose Down
DROP INDEX inbox_dead;
ALTER TABLE inbox DROP COLUMN type;
