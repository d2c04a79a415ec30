-- +goose Up
-- +goose StatementBegin
-- coop_scoped puts a table under row-level security: a transaction sees and
-- writes only rows of the co-op in its setting breakshare.coop, and fails where
-- it has none. FORCE binds the owner too. Call it after each CREATE TABLE.
CREATE FUNCTION coop_scoped(table_name text) RETURNS void
LANGUAGE plpgsql AS $$
DECLARE
    tab regclass := to_regclass(quote_ident(table_name));
BEGIN
    IF tab IS NULL THEN
        RAISE EXCEPTION 'coop_scoped: there is no table "%" in schema "%"', table_name, current_schema();
    END IF;
    PERFORM FROM pg_index i
    JOIN pg_attribute a ON a.attrelid = i.indrelid AND a.attnum = i.indkey[0]
    WHERE i.indrelid = tab AND i.indisprimary AND a.attname = 'coop_id' AND a.atttypid = 'uuid'::regtype;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'coop_scoped: table "%" must have "coop_id uuid" as the first column of its primary key', table_name;
    END IF;
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', tab);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', tab);
    EXECUTE format('CREATE POLICY coop ON %s'
        ' USING (coop_id = current_setting(''breakshare.coop'')::uuid)'
        ' WITH CHECK (coop_id = current_setting(''breakshare.coop'')::uuid)', tab);
END
$$;
-- +goose StatementEnd

-- +goose Down
DROP FUNCTION coop_scoped(text);
