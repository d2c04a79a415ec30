-- +goose Up
-- The co-ops that have crops, each with the day on which its overdue crops were
-- last moved; absent before the first time. The daily round has to find all co-ops:
-- only for that, and only here, a transaction may look past its own by saying so.
CREATE TABLE daily_round (
    coop_id    uuid NOT NULL PRIMARY KEY,
    shifted_on date
);
ALTER TABLE crop NO FORCE ROW LEVEL SECURITY;
INSERT INTO daily_round (coop_id) SELECT DISTINCT coop_id FROM crop;
ALTER TABLE crop FORCE ROW LEVEL SECURITY;
SELECT coop_scoped('daily_round');

-- +goose StatementBegin
DO $$
BEGIN
    EXECUTE format('CREATE POLICY every_coop ON daily_round FOR SELECT TO %I'
        ' USING (current_setting(''breakshare.every_coop'', true) = ''on'')', 'breakshare_' || current_schema());
END
$$;
-- +goose StatementEnd

-- +goose Down
DROP TABLE daily_round;
