package pg

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
)

//go:embed base/*.sql
var baseFiles embed.FS

// BaseMigrations holds the migrations every service's schema begins with.
func BaseMigrations() fs.FS {
	sub, err := fs.Sub(baseFiles, "base")
	if err != nil {
		panic(err) // the folder is compiled in
	}
	return sub
}

// migrate applies the base migrations and then the service's own, as the owner
// of the schema, with the schema as search path.
func migrate(ctx context.Context, adminURL string, s Schema) error {
	cfg, err := pgx.ParseConfig(adminURL)
	if err != nil {
		return fmt.Errorf("read the PostgreSQL URL: %w", err)
	}
	cfg.RuntimeParams["search_path"] = quote(s.Service) + ", pg_temp"
	// A migration that waits for a long transaction would make everybody else
	// wait behind it.
	cfg.RuntimeParams["lock_timeout"] = "30s"
	db := stdlib.OpenDB(*cfg, stdlib.OptionAfterConnect(func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "SET ROLE "+quote(OwnerRole(s.Service)))
		return err
	}))
	defer db.Close()
	if err := up(ctx, db, BaseMigrations(), s.Service+"_base"); err != nil {
		return fmt.Errorf("base migrations: %w", err)
	}
	if s.Migrations == nil {
		return nil
	}
	own, err := sqlFolder(s.Migrations)
	if err != nil {
		return err
	}
	if err := up(ctx, db, own, s.Service+"_own"); err != nil {
		return fmt.Errorf("migrations: %w", err)
	}
	return nil
}

func up(ctx context.Context, db *sql.DB, files fs.FS, table string) error {
	p, err := goose.NewProvider(goose.DialectPostgres, db, files,
		goose.WithTableName(migrationsSchema+"."+table), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		var partial *goose.PartialError
		if errors.As(err, &partial) && partial.Failed != nil {
			return fmt.Errorf("%s: %w", partial.Failed.Source.Path, partial.Err)
		}
		return err
	}
	return nil
}

// sqlFolder finds the .sql files: at the root, or in "migrations" as
// `//go:embed migrations/*.sql` leaves them.
func sqlFolder(files fs.FS) (fs.FS, error) {
	for _, dir := range []string{".", "migrations"} {
		names, err := fs.Glob(files, dir+"/*.sql")
		if dir == "." {
			names, err = fs.Glob(files, "*.sql")
		}
		if err != nil {
			return nil, fmt.Errorf("look for migrations: %w", err)
		}
		if len(names) > 0 {
			return fs.Sub(files, dir)
		}
	}
	return nil, errors.New("no migrations found: put NNNNN_name.sql files at the root of Schema.Migrations or in its folder migrations, or leave Migrations nil")
}
