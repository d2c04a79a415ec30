-- +goose Up
-- +goose StatementBegin
-- append_only keeps what was said and weighed as it was: a correction is a new
-- row.
CREATE FUNCTION append_only() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'table % is append-only: add a correction instead', TG_TABLE_NAME;
END
$$;
-- +goose StatementEnd

-- The newest figures of each pick lot that somebody pushed.
CREATE TABLE expected_pick (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id  text        NOT NULL,
    low_grams    bigint      NOT NULL,
    likely_grams bigint      NOT NULL,
    high_grams   bigint      NOT NULL,
    version      bigint      NOT NULL CHECK (version >= 1),
    pushed_by    text        NOT NULL,
    pushed_at    timestamptz NOT NULL,
    PRIMARY KEY (coop_id, pick_lot_id),
    FOREIGN KEY (coop_id, pick_lot_id) REFERENCES pick_lot,
    CHECK (0 <= low_grams AND low_grams <= likely_grams AND likely_grams <= high_grams)
);
SELECT coop_scoped('expected_pick');

-- Every version, the newest included.
CREATE TABLE expected_pick_version (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id  text        NOT NULL,
    version      bigint      NOT NULL CHECK (version >= 1),
    low_grams    bigint      NOT NULL,
    likely_grams bigint      NOT NULL,
    high_grams   bigint      NOT NULL,
    pushed_by    text        NOT NULL,
    pushed_at    timestamptz NOT NULL,
    PRIMARY KEY (coop_id, pick_lot_id, version),
    CHECK (0 <= low_grams AND low_grams <= likely_grams AND likely_grams <= high_grams)
);
SELECT coop_scoped('expected_pick_version');
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON expected_pick_version
    FOR EACH ROW EXECUTE FUNCTION append_only();

-- +goose Down
DROP TABLE expected_pick_version;
DROP TABLE expected_pick;
DROP FUNCTION append_only();
