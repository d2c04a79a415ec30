package pg

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Server is a PostgreSQL server and a database on it that the suite may set up.
type Server struct {
	// AdminURL connects as an administrator who may create roles and schemas.
	// It holds a password: never log it.
	AdminURL string
}

// Prepare is the function Prepare on this server.
func (s Server) Prepare(ctx context.Context, schema Schema) (Access, error) {
	return Prepare(ctx, s.AdminURL, schema)
}

// EnsureDatabase creates the database where it is not there and returns the
// server with it in place of the one s connects to. Any number of processes may
// do so at once.
func (s Server) EnsureDatabase(ctx context.Context, name string) (Server, error) {
	conn, _, err := connectAdmin(ctx, s.AdminURL)
	if err != nil {
		return Server{}, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := createDatabase(ctx, conn, name); err != nil {
		return Server{}, fmt.Errorf("create database %s: %w", name, err)
	}
	url, err := WithDatabase(s.AdminURL, name)
	return Server{AdminURL: url}, err
}

func createDatabase(ctx context.Context, conn *pgx.Conn, name string) error {
	var there bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&there); err != nil || there {
		return err
	}
	// template0 has no connections that could stand in the way.
	_, err := conn.Exec(ctx, `CREATE DATABASE `+quote(name)+` TEMPLATE template0`)
	var pe *pgconn.PgError
	if errors.As(err, &pe) && (pe.Code == "42P04" || pe.Code == "23505") {
		return nil // another process was first
	}
	return err
}
