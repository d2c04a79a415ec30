package testkit

import (
	"context"
	"crypto/rand"
	"fmt"
	"hash/fnv"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/pg"
)

// poolConns is enough for a test that lets several callers meet.
const poolConns = 10

// Database is a prepared database that one test has for itself.
type Database struct {
	AdminURL   string // its administrator, who sees all co-ops
	ServiceURL string // the service
	RelayURL   string // the relay
}

// Postgres gives an empty database, dropped when the test ends.
func Postgres(t testing.TB) (adminURL string) {
	t.Helper()
	url := cluster(t)
	name := newDatabase(t, url, "template0")
	return inDatabase(t, url, name)
}

// Pool gives the service's pool on a fresh database with its schema, closed and
// dropped when the test ends.
func Pool(t testing.TB, s pg.Schema) *pgxpool.Pool {
	t.Helper()
	return Open(t, Prepared(t, s).ServiceURL)
}

// Open opens a pool that is closed when the test ends.
func Open(t testing.TB, url string) *pgxpool.Pool {
	t.Helper()
	pool, err := pg.Open(t.Context(), url, poolConns)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	return pool
}

// Prepared gives a fresh database with the schema in it, cloned from a template
// that is built once per cluster and set of migrations.
func Prepared(t testing.TB, s pg.Schema) Database {
	t.Helper()
	url := cluster(t)
	template, err := templateFor(t.Context(), url, s)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	adminURL := inDatabase(t, url, newDatabase(t, url, template))
	access, err := pg.AccessTo(t.Context(), adminURL, s.Service)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	return Database{AdminURL: adminURL, ServiceURL: access.ServiceURL, RelayURL: access.RelayURL}
}

func cluster(t testing.TB) string {
	t.Helper()
	url, err := clusterURL()
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	return url
}

func inDatabase(t testing.TB, url, name string) string {
	t.Helper()
	u, err := pg.WithDatabase(url, name)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	return u
}

// newDatabase clones a template and drops the clone when the test ends.
func newDatabase(t testing.TB, url, template string) string {
	t.Helper()
	name, drop, err := cloned(t.Context(), url, template)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	t.Cleanup(func() {
		if err := drop(); err != nil {
			t.Errorf("testkit: %v", err)
		}
	})
	return name
}

// cloned clones a template.
func cloned(ctx context.Context, url, template string) (name string, drop func() error, err error) {
	name = "breakshare_test_" + strings.ToLower(rand.Text())
	if err := run(ctx, url, `CREATE DATABASE `+name+` TEMPLATE `+template); err != nil {
		return "", nil, err
	}
	return name, func() error {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		return run(ctx, url, `DROP DATABASE `+name+` WITH (FORCE)`)
	}, nil
}

// run executes statements on a connection of their own: a pool would keep
// goroutines that leak checks of other packages then find.
func run(ctx context.Context, url string, statements ...string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return fmt.Errorf("connect to the test cluster: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	return execAll(ctx, conn, statements...)
}

// templates remembers which templates this process has seen, by name.
var templates struct {
	sync.Mutex
	ready map[string]bool
}

// templateFor names the template of a schema and builds it where no process
// has. The lock is on the cluster, since each test package is a process.
func templateFor(ctx context.Context, url string, s pg.Schema) (string, error) {
	fingerprint, err := pg.Fingerprint(s)
	if err != nil {
		return "", err
	}
	name := "breakshare_template_" + fingerprint
	templates.Lock()
	defer templates.Unlock()
	if templates.ready[name] {
		return name, nil
	}
	// A test that ends meanwhile must not leave the work of all half done.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 4*patience)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return "", fmt.Errorf("connect to the test cluster: %w", err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, lockKey(name)); err != nil {
		return "", fmt.Errorf("wait for the template: %w", err)
	}
	var built bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&built); err != nil {
		return "", fmt.Errorf("look for the template: %w", err)
	}
	if !built {
		if err := buildTemplate(ctx, conn, url, name, s); err != nil {
			return "", fmt.Errorf("build the template of %s: %w", s.Service, err)
		}
	}
	if templates.ready == nil {
		templates.ready = map[string]bool{}
	}
	templates.ready[name] = true
	return name, nil
}

// buildTemplate prepares a database under a name of its own and renames it at
// the end, so that a template is whole or not there.
func buildTemplate(ctx context.Context, conn *pgx.Conn, url, name string, s pg.Schema) error {
	work := name + "_new"
	if err := execAll(ctx, conn, `DROP DATABASE IF EXISTS `+work+` WITH (FORCE)`, `CREATE DATABASE `+work+` TEMPLATE template0`); err != nil {
		return err
	}
	workURL, err := pg.WithDatabase(url, work)
	if err != nil {
		return err
	}
	if _, err := pg.Prepare(ctx, workURL, s); err != nil {
		return err
	}
	// Prepare has closed its connections, but the server may take a moment to
	// notice; renaming needs the database to itself.
	const others = `SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = $1`
	if _, err := conn.Exec(ctx, others, work); err != nil {
		return fmt.Errorf("close connections to %s: %w", work, err)
	}
	return execAll(ctx, conn,
		`ALTER DATABASE `+work+` ALLOW_CONNECTIONS false`,
		`ALTER DATABASE `+work+` RENAME TO `+name)
}

func execAll(ctx context.Context, conn *pgx.Conn, statements ...string) error {
	for _, sql := range statements {
		if _, err := conn.Exec(ctx, sql); err != nil {
			return fmt.Errorf("%s: %w", sql, err)
		}
	}
	return nil
}

func lockKey(name string) int64 {
	h := fnv.New64a()
	h.Write([]byte(name))
	return int64(h.Sum64())
}
