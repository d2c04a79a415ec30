-- +goose Up
-- How often what others told of a co-op has changed. Who keeps copies of it in
-- memory sees by the count whether they still hold. The count rises at the very
-- end of a transaction, so that nobody waits for the row while holding it.
CREATE TABLE told_changes (
    coop_id uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    changes bigint NOT NULL CHECK (changes >= 1),
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('told_changes');

-- +goose StatementBegin
CREATE FUNCTION count_told_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO told_changes (changes) VALUES (1)
    ON CONFLICT (coop_id) DO UPDATE SET changes = told_changes.changes + 1;
    RETURN NULL;
END
$$;
-- +goose StatementEnd

-- +goose StatementBegin
DO $$
DECLARE
    told text;
BEGIN
    FOREACH told IN ARRAY ARRAY['room', 'product', 'crop', 'compost_lot', 'compost_delivery', 'coop'] LOOP
        EXECUTE format('CREATE CONSTRAINT TRIGGER told_change AFTER INSERT OR UPDATE OR DELETE ON %I
            DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION count_told_change()', told);
    END LOOP;
END
$$;
-- +goose StatementEnd

-- +goose Down
-- +goose StatementBegin
DO $$
DECLARE
    told text;
BEGIN
    FOREACH told IN ARRAY ARRAY['room', 'product', 'crop', 'compost_lot', 'compost_delivery', 'coop'] LOOP
        EXECUTE format('DROP TRIGGER told_change ON %I', told);
    END LOOP;
END
$$;
-- +goose StatementEnd
DROP FUNCTION count_told_change();
DROP TABLE told_changes;
