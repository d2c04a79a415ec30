// Package pg owns how the suite stands on PostgreSQL: the schema and the three
// roles of each service, the tables every service has (outbox, inbox, cursors,
// request log), the migrations, and transactions scoped to one co-op by
// row-level security.
//
// Who may do what, per service:
//
//   - breakshare_<service>_owner owns the schema and everything in it and runs
//     the migrations. It cannot log in; the administrator takes it on.
//   - breakshare_<service> is what the service connects as. It reads and writes
//     rows of the co-op its transaction is scoped to, owns nothing, and cannot
//     switch row-level security off.
//   - breakshare_<service>_relay reads the outbox of all co-ops and marks rows
//     as published. It sees no other table.
//
// Roles belong to the whole cluster, schemas to one database; the role of a
// service is the same in every database of a cluster.
package pg

import (
	"context"
	"fmt"
	"io/fs"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// MinServerVersion is the oldest PostgreSQL the suite runs on, as
// server_version_num writes it. Version 15 is the first that keeps ordinary
// roles from creating tables in the schema public.
const MinServerVersion = 150000

// DB is what a store function needs: a pool or a transaction.
type DB interface {
	Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error)
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// Schema is one service's share of a database.
type Schema struct {
	// Service names the service, its schema and its roles: lower-case letters,
	// digits and underscores, starting with a letter, at most 30 bytes.
	Service string
	// Migrations holds the service's own goose .sql files, at its root or in a
	// folder "migrations". nil means the service has only the base tables.
	Migrations fs.FS
}

// Access is how a service reaches its prepared schema. Both hold passwords:
// never log them.
type Access struct {
	ServiceURL string // as breakshare_<service>
	RelayURL   string // as breakshare_<service>_relay
}

// OwnerRole, ServiceRole and RelayRole name the roles of a service.
func OwnerRole(service string) string   { return "breakshare_" + service + "_owner" }
func ServiceRole(service string) string { return "breakshare_" + service }
func RelayRole(service string) string   { return "breakshare_" + service + "_relay" }

var serviceName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,29}$`)

// checkService refuses a name that cannot be both a schema and part of a role.
func checkService(service string) error {
	switch {
	case !serviceName.MatchString(service):
		return fmt.Errorf("service name %q: use 1 to 30 lower-case letters, digits and underscores, starting with a letter", service)
	case strings.HasPrefix(service, "pg_"), service == "public", service == "information_schema", service == migrationsSchema:
		return fmt.Errorf("service name %q: PostgreSQL or the suite itself uses this schema; choose another", service)
	case strings.HasSuffix(service, "_owner"), strings.HasSuffix(service, "_relay"), service == "secret":
		return fmt.Errorf("service name %q: its role would collide with another's; choose another", service)
	}
	return nil
}

// quote makes an SQL identifier of a name.
func quote(name string) string { return pgx.Identifier{name}.Sanitize() }
