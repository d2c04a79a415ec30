package pg

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// migrationsSchema holds goose's version tables, two per service.
const migrationsSchema = "breakshare_migrations"

// prepareLock is the advisory lock Prepare holds on the database, for all
// services: they share schemas and rows of PostgreSQL's own catalogue.
const prepareLock = 0x6272_6b73_6872 // "brkshr"

// Prepare brings the schema of a service up to date: roles, base tables, the
// service's own migrations. It may run any number of times and in any number of
// processes at once; the last check refuses a table that is not scoped to
// co-ops. The administrator must be able to create roles and schemas.
func Prepare(ctx context.Context, adminURL string, s Schema) (Access, error) {
	if err := checkService(s.Service); err != nil {
		return Access{}, err
	}
	conn, superuser, err := connectAdmin(ctx, adminURL)
	if err != nil {
		return Access{}, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	// The lock ends with the connection, whatever happens.
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, int64(prepareLock)); err != nil {
		return Access{}, fmt.Errorf("prepare schema %s: wait for other processes: %w", s.Service, err)
	}
	access, err := prepareLocked(ctx, conn, adminURL, s, superuser)
	if err != nil {
		return Access{}, fmt.Errorf("prepare schema %s: %w", s.Service, err)
	}
	return access, nil
}

func prepareLocked(ctx context.Context, conn *pgx.Conn, adminURL string, s Schema, superuser bool) (Access, error) {
	if err := ensureSchema(ctx, conn, migrationsSchema, ""); err != nil {
		return Access{}, err
	}
	secret, err := roleSecret(ctx, conn, superuser)
	if err != nil {
		return Access{}, err
	}
	if err := ensureRoles(ctx, conn, s.Service, secret); err != nil {
		return Access{}, err
	}
	if err := adoptOwner(ctx, conn, s.Service); err != nil {
		return Access{}, err
	}
	if err := ensureSchema(ctx, conn, s.Service, OwnerRole(s.Service)); err != nil {
		return Access{}, err
	}
	if err := grant(ctx, conn, s.Service); err != nil {
		return Access{}, err
	}
	if err := migrate(ctx, adminURL, s); err != nil {
		return Access{}, err
	}
	if err := verify(ctx, conn, s.Service); err != nil {
		return Access{}, err
	}
	access, err := accessWith(adminURL, s.Service, secret)
	if err != nil {
		return Access{}, err
	}
	for role, dsn := range map[string]string{ServiceRole(s.Service): access.ServiceURL, RelayRole(s.Service): access.RelayURL} {
		if err := ensureLogin(ctx, conn, dsn, role, rolePassword(secret, role)); err != nil {
			return Access{}, err
		}
	}
	return access, nil
}

// AccessTo gives the access to a schema that Prepare has prepared before, in
// this database or (for a superuser) in a copy of one.
func AccessTo(ctx context.Context, adminURL, service string) (Access, error) {
	if err := checkService(service); err != nil {
		return Access{}, err
	}
	conn, superuser, err := connectAdmin(ctx, adminURL)
	if err != nil {
		return Access{}, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	secret, err := roleSecret(ctx, conn, superuser)
	if err != nil {
		return Access{}, err
	}
	return accessWith(adminURL, service, secret)
}

func accessWith(adminURL, service string, secret []byte) (Access, error) {
	var a Access
	var err error
	role := ServiceRole(service)
	if a.ServiceURL, err = withUser(adminURL, role, rolePassword(secret, role)); err != nil {
		return Access{}, err
	}
	role = RelayRole(service)
	if a.RelayURL, err = withUser(adminURL, role, rolePassword(secret, role)); err != nil {
		return Access{}, err
	}
	return a, nil
}

func connectAdmin(ctx context.Context, adminURL string) (conn *pgx.Conn, superuser bool, err error) {
	conn, err = pgx.Connect(ctx, adminURL)
	if err != nil {
		return nil, false, fmt.Errorf("connect to PostgreSQL as administrator: %w", err)
	}
	var version int
	const ask = `SELECT current_setting('server_version_num')::int, rolsuper FROM pg_roles WHERE rolname = current_user`
	if err := conn.QueryRow(ctx, ask).Scan(&version, &superuser); err != nil {
		conn.Close(ctx)
		return nil, false, fmt.Errorf("ask PostgreSQL for its version: %w", err)
	}
	if version < MinServerVersion {
		conn.Close(ctx)
		return nil, false, fmt.Errorf("PostgreSQL is of version %d: install %d or later", version/10000, MinServerVersion/10000)
	}
	return conn, superuser, nil
}

// ensureSchema creates a schema, owned by the administrator where no owner is
// named, and refuses one that another role owns.
func ensureSchema(ctx context.Context, conn *pgx.Conn, name, owner string) error {
	authorization := "CURRENT_USER"
	if owner != "" {
		authorization = quote(owner)
	}
	if _, err := conn.Exec(ctx, "CREATE SCHEMA IF NOT EXISTS "+quote(name)+" AUTHORIZATION "+authorization); err != nil {
		return fmt.Errorf("create schema %s: %w", name, err)
	}
	if owner == "" {
		return nil
	}
	var is string
	if err := conn.QueryRow(ctx, `SELECT pg_get_userbyid(nspowner) FROM pg_namespace WHERE nspname = $1`, name).Scan(&is); err != nil {
		return fmt.Errorf("look who owns schema %s: %w", name, err)
	}
	if is != owner {
		return fmt.Errorf("schema %s belongs to role %s, not to %s: use a database of the suite's own", name, is, owner)
	}
	return nil
}

// grants gives the roles what they need and no more. Rights on tables come from
// default privileges, so that a migration cannot forget them.
const grants = `
	GRANT USAGE, CREATE ON SCHEMA %[1]s TO %[2]s;
	GRANT USAGE ON SCHEMA %[3]s TO %[4]s, %[5]s;
	ALTER DEFAULT PRIVILEGES FOR ROLE %[2]s IN SCHEMA %[3]s GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO %[4]s;
	ALTER DEFAULT PRIVILEGES FOR ROLE %[2]s IN SCHEMA %[3]s GRANT USAGE, SELECT ON SEQUENCES TO %[4]s`

func grant(ctx context.Context, conn *pgx.Conn, service string) error {
	sql := fmt.Sprintf(grants, quote(migrationsSchema), quote(OwnerRole(service)), quote(service),
		quote(ServiceRole(service)), quote(RelayRole(service)))
	if _, err := conn.Exec(ctx, sql); err != nil {
		return fmt.Errorf("grant rights: %w", err)
	}
	const missing = `
		SELECT rolname FROM pg_roles
		WHERE rolname = ANY($1) AND NOT has_database_privilege(oid, current_database(), 'CONNECT')`
	roles, err := collect[string](ctx, conn, missing, []string{ServiceRole(service), RelayRole(service)})
	if err != nil {
		return fmt.Errorf("look who may connect: %w", err)
	}
	for _, role := range roles {
		sql := fmt.Sprintf(`GRANT CONNECT ON DATABASE %s TO %s`, quote(conn.Config().Database), quote(role))
		if _, err := conn.Exec(ctx, sql); err != nil {
			return fmt.Errorf("let %s connect: %w", role, err)
		}
	}
	return nil
}
