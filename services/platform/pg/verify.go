package pg

import (
	"context"
	"fmt"
	"strings"
)

// verify refuses a schema with a table that row-level security does not scope
// to co-ops: a migration that forgot coop_scoped must not reach production.
func verify(ctx context.Context, db DB, service string) error {
	const open = `
		SELECT c.relname
		FROM pg_class c
		JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = $1 AND c.relkind IN ('r', 'p')
		  AND NOT (c.relrowsecurity AND c.relforcerowsecurity
		           AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid AND p.polname = 'coop'))
		ORDER BY c.relname`
	tables, err := collect[string](ctx, db, open, service)
	if err != nil {
		return fmt.Errorf("check row-level security: %w", err)
	}
	if len(tables) > 0 {
		return fmt.Errorf("tables %s are not scoped to co-ops: after each CREATE TABLE add SELECT coop_scoped('<table>')", strings.Join(tables, ", "))
	}
	return nil
}
