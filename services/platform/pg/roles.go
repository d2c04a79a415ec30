package pg

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// isDuplicateRole tells whether another Prepare, perhaps in another database of
// the cluster, created the role first. Advisory locks reach over one database
// only, so this race is met by its error.
func isDuplicateRole(err error) bool {
	var pe *pgconn.PgError
	return errors.As(err, &pe) && (pe.Code == "42710" || pe.Code == "23505")
}

// ensureRoles makes the three roles of a service in one transaction, so that
// nobody sees a role without its search path.
func ensureRoles(ctx context.Context, conn *pgx.Conn, service string, secret []byte) error {
	roles := []string{OwnerRole(service), ServiceRole(service), RelayRole(service)}
	const count = `SELECT count(*) FROM pg_roles WHERE rolname = ANY($1)`
	for range 3 {
		var n int
		if err := conn.QueryRow(ctx, count, roles).Scan(&n); err != nil {
			return fmt.Errorf("look for the roles of %s: %w", service, err)
		}
		if n == len(roles) {
			return checkRoles(ctx, conn, service)
		}
		if err := createRoles(ctx, conn, service, secret); err != nil && !isDuplicateRole(err) {
			return fmt.Errorf("create the roles of %s: %w", service, err)
		}
	}
	return fmt.Errorf("the roles of %s exist only in part and cannot be completed: drop %v and start again", service, roles)
}

func createRoles(ctx context.Context, conn *pgx.Conn, service string, secret []byte) error {
	return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		for _, role := range []string{OwnerRole(service), ServiceRole(service), RelayRole(service)} {
			var there bool
			if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1)`, role).Scan(&there); err != nil {
				return err
			}
			if there {
				continue
			}
			login := "NOLOGIN"
			if role != OwnerRole(service) {
				verifier, err := scramVerifier(rolePassword(secret, role))
				if err != nil {
					return err
				}
				login = "LOGIN PASSWORD '" + verifier + "'"
			}
			sql := "CREATE ROLE " + quote(role) + " NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE NOREPLICATION NOINHERIT " + login
			if _, err := tx.Exec(ctx, sql); err != nil {
				return err
			}
			// pg_temp last, or a temporary table could stand in for a real one.
			sql = "ALTER ROLE " + quote(role) + " SET search_path = " + quote(service) + ", pg_temp"
			if _, err := tx.Exec(ctx, sql); err != nil {
				return err
			}
		}
		return nil
	})
}

// checkRoles refuses roles that somebody has given the power to reach around
// row-level security.
func checkRoles(ctx context.Context, conn *pgx.Conn, service string) error {
	roles := []string{OwnerRole(service), ServiceRole(service), RelayRole(service)}
	const powerful = `
		SELECT rolname FROM pg_roles
		WHERE rolname = ANY($1) AND (rolsuper OR rolbypassrls OR rolcreaterole OR rolreplication)
		ORDER BY rolname`
	names, err := collect[string](ctx, conn, powerful, roles)
	if err != nil {
		return fmt.Errorf("check the roles of %s: %w", service, err)
	}
	if len(names) > 0 {
		return fmt.Errorf("roles %v may reach around row-level security: ALTER ROLE … NOSUPERUSER NOBYPASSRLS NOCREATEROLE NOREPLICATION", names)
	}
	const members = `
		SELECT m.rolname || ' of ' || g.rolname
		FROM pg_auth_members a
		JOIN pg_roles m ON m.oid = a.member
		JOIN pg_roles g ON g.oid = a.roleid
		WHERE m.rolname = ANY($1)
		ORDER BY 1`
	names, err = collect[string](ctx, conn, members, roles)
	if err != nil {
		return fmt.Errorf("check the memberships of the roles of %s: %w", service, err)
	}
	if len(names) > 0 {
		return fmt.Errorf("roles of the suite must be members of no other role, but there are %v: REVOKE each", names)
	}
	return nil
}

// adoptOwner lets an administrator who is no superuser act as the owner. Since
// PostgreSQL 16 one who creates a role may grant it but not yet act as it, so
// the attempt decides.
func adoptOwner(ctx context.Context, conn *pgx.Conn, service string) error {
	owner := OwnerRole(service)
	try := func() error {
		_, err := conn.Exec(ctx, "SET ROLE "+quote(owner)+"; RESET ROLE")
		return err
	}
	if try() == nil {
		return nil
	}
	if _, err := conn.Exec(ctx, "GRANT "+quote(owner)+" TO CURRENT_USER"); err != nil {
		return fmt.Errorf("let the administrator act as %s: %w", owner, err)
	}
	if err := try(); err != nil {
		return fmt.Errorf("act as %s: %w", owner, err)
	}
	return nil
}

// ensureLogin proves that a role can log in, and sets its password where it is
// not the derived one: after the secret was lost, or when the roles came from
// elsewhere.
func ensureLogin(ctx context.Context, conn *pgx.Conn, dsn, role, password string) error {
	err := tryLogin(ctx, dsn)
	var pe *pgconn.PgError
	if err == nil || !errors.As(err, &pe) {
		return err
	}
	if slices.Contains([]string{"28P01", "28000"}, pe.Code) {
		verifier, verr := scramVerifier(password)
		if verr != nil {
			return verr
		}
		// Another database's Prepare may set the same password at this moment;
		// PostgreSQL then fails one of the two. The second login decides.
		_, aerr := conn.Exec(ctx, "ALTER ROLE "+quote(role)+" PASSWORD '"+verifier+"'")
		if err = tryLogin(ctx, dsn); err == nil {
			return nil
		}
		err = errors.Join(err, aerr)
	}
	return fmt.Errorf("role %s cannot log in; see that pg_hba.conf lets it in from here: %w", role, err)
}

func tryLogin(ctx context.Context, dsn string) error {
	conn, err := pgx.Connect(ctx, dsn)
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// collect runs a query of one column.
func collect[T any](ctx context.Context, db DB, sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[T])
}
