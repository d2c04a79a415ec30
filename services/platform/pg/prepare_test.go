package pg_test

import (
	"context"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func folder(name string) fs.FS {
	sub, err := fs.Sub(files, name)
	if err != nil {
		panic(err) // compiled in
	}
	return sub
}

func migration(sql string) fs.FS {
	return fstest.MapFS{"migrations/00001_x.sql": {Data: []byte("-- +goose Up\n" + sql)}}
}

// Replicas start at once, on several databases of one cluster, whose roles they
// share. All must come to passwords that work.
func TestPrepareByManyAtOnce(t *testing.T) {
	t.Parallel()
	// A service of its own, so that the roles are really made here.
	s := pg.Schema{Service: "r" + strings.ReplaceAll(ids.New(), "-", "")[:24], Migrations: folder("testdata/shed")}
	databases := []string{testkit.Postgres(t), testkit.Postgres(t)}
	t.Cleanup(func() { dropRoles(t, s.Service, databases) })
	const replicas = 3
	got := make([][replicas]pg.Access, len(databases))
	var wg sync.WaitGroup
	for d, url := range databases {
		for r := range replicas {
			wg.Go(func() {
				var err error
				if got[d][r], err = pg.Prepare(t.Context(), url, s); err != nil {
					t.Errorf("database %d, replica %d: %v", d, r, err)
				}
			})
		}
	}
	wg.Wait()
	if t.Failed() {
		return
	}
	for d := range databases {
		for r := range replicas {
			if got[d][r] != got[d][0] {
				t.Errorf("database %d: replicas 0 and %d have different access", d, r)
			}
		}
		pool := testkit.Open(t, got[d][0].ServiceURL)
		coop := ids.New()
		if err := insertSample(t, pool, coop, coop, "shelf"); err != nil {
			t.Errorf("database %d: %v", d, err)
		}
		testkit.Open(t, got[d][0].RelayURL)
	}
}

// dropRoles removes what a test's own service left in the cluster.
func dropRoles(t *testing.T, service string, databases []string) {
	ctx := context.Background()
	for i, url := range databases {
		conn, err := pgx.Connect(ctx, url)
		if err != nil {
			t.Error(err)
			return
		}
		for _, role := range []string{pg.OwnerRole(service), pg.ServiceRole(service), pg.RelayRole(service)} {
			sql := "DROP OWNED BY " + role + " CASCADE"
			if i == len(databases)-1 {
				sql += "; DROP ROLE " + role
			}
			if _, err := conn.Exec(ctx, sql); err != nil {
				t.Error(err)
			}
		}
		if err := conn.Close(ctx); err != nil {
			t.Error(err)
		}
	}
}

func TestPrepareAgainKeepsDataAndPasswords(t *testing.T) {
	t.Parallel()
	admin := testkit.Postgres(t)
	first, err := pg.Prepare(t.Context(), admin, shed())
	if err != nil {
		t.Fatal(err)
	}
	pool, coop := testkit.Open(t, first.ServiceURL), ids.New()
	if err := insertSample(t, pool, coop, coop, "shelf"); err != nil {
		t.Fatal(err)
	}
	second, err := pg.Prepare(t.Context(), admin, shed())
	if err != nil {
		t.Fatal(err)
	}
	third, err := pg.AccessTo(t.Context(), admin, "shed")
	if err != nil {
		t.Fatal(err)
	}
	if first != second || first != third {
		t.Error("the access changed")
	}
	checkReads(t, testkit.Open(t, second.ServiceURL), coop, ids.New(), "shelf")
}

// A role whose password is another's, say after a restore from a dump of
// roles, is mended.
func TestPrepareMendsAPassword(t *testing.T) {
	t.Parallel()
	s := pg.Schema{Service: "p" + strings.ReplaceAll(ids.New(), "-", "")[:24]}
	admin := testkit.Postgres(t)
	t.Cleanup(func() { dropRoles(t, s.Service, []string{admin}) })
	if _, err := pg.Prepare(t.Context(), admin, s); err != nil {
		t.Fatal(err)
	}
	if _, err := testkit.Open(t, admin).Exec(t.Context(), "ALTER ROLE "+pg.ServiceRole(s.Service)+" PASSWORD 'other'"); err != nil {
		t.Fatal(err)
	}
	access, err := pg.Prepare(t.Context(), admin, s)
	if err != nil {
		t.Fatal(err)
	}
	testkit.Open(t, access.ServiceURL)
}

func TestPrepareRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		schema pg.Schema
		says   string
	}{
		"no service":          {pg.Schema{}, "1 to 30 lower-case letters"},
		"SQL in the name":     {pg.Schema{Service: `a"; drop`}, "1 to 30 lower-case letters"},
		"name too long":       {pg.Schema{Service: strings.Repeat("a", 31)}, "1 to 30 lower-case letters"},
		"PostgreSQL's schema": {pg.Schema{Service: "pg_catalog"}, "choose another"},
		"public":              {pg.Schema{Service: "public"}, "choose another"},
		"another's role":      {pg.Schema{Service: "order_relay"}, "choose another"},
		"unscoped table":      {pg.Schema{Service: "shed", Migrations: folder("testdata/open")}, "tables forgotten are not scoped"},
		"empty folder":        {pg.Schema{Service: "shed", Migrations: fstest.MapFS{}}, "no migrations found"},
		"broken SQL":          {pg.Schema{Service: "shed", Migrations: migration("CREATE TABEL x ();")}, "00001_x.sql"},
		"unknown table":       {pg.Schema{Service: "shed", Migrations: migration("SELECT coop_scoped('nowhere');")}, `no table "nowhere"`},
		"no co-op in the key": {pg.Schema{Service: "shed", Migrations: migration("CREATE TABLE x (id uuid PRIMARY KEY, coop_id uuid); SELECT coop_scoped('x');")}, "first column of its primary key"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := pg.Prepare(t.Context(), testkit.Postgres(t), c.schema)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want an error with %q", err, c.says)
			}
		})
	}
}

// An administrator of managed PostgreSQL is no superuser: it may create roles
// and owns its database.
func TestPrepareWithoutSuperuser(t *testing.T) {
	t.Parallel()
	suffix := strings.ReplaceAll(ids.New(), "-", "")[:24]
	s := pg.Schema{Service: "m" + suffix, Migrations: folder("testdata/shed")}
	super := testkit.Postgres(t)
	pool := testkit.Open(t, super)
	manager := "manager_" + suffix
	var database string
	if err := pool.QueryRow(t.Context(), `SELECT current_database()`).Scan(&database); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		dropRoles(t, s.Service, []string{super})
		conn, err := pgx.Connect(context.Background(), super)
		if err != nil {
			t.Error(err)
			return
		}
		defer conn.Close(context.Background())
		if _, err := conn.Exec(context.Background(), fmt.Sprintf("ALTER DATABASE %s OWNER TO CURRENT_USER; DROP OWNED BY %s CASCADE; DROP ROLE %s", database, manager, manager)); err != nil {
			t.Error(err)
		}
	})
	_, err := pool.Exec(t.Context(), fmt.Sprintf("CREATE ROLE %s LOGIN CREATEROLE PASSWORD 'pw'; ALTER DATABASE %s OWNER TO %s", manager, database, manager))
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := pgx.ParseConfig(super)
	if err != nil {
		t.Fatal(err)
	}
	managerURL := fmt.Sprintf("host=%s port=%d dbname=%s user=%s password=pw", cfg.Host, cfg.Port, database, manager)
	first, err := pg.Prepare(t.Context(), managerURL, s)
	if err != nil {
		t.Fatal(err)
	}
	second, err := pg.Prepare(t.Context(), managerURL, s)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, second); diff != "" {
		t.Error("the passwords changed")
	}
	service := testkit.Open(t, first.ServiceURL)
	if _, err := service.Exec(t.Context(), `SELECT * FROM breakshare_migrations.role_secret`); code(err) != insufficientPrivilege {
		t.Errorf("the service reads the secret: %v", err)
	}
	coop := ids.New()
	if err := insertSample(t, service, coop, coop, "shelf"); err != nil {
		t.Error(err)
	}
}

func TestFingerprintFollowsTheMigrations(t *testing.T) {
	t.Parallel()
	seen := map[string]string{}
	for name, s := range map[string]pg.Schema{
		"base only":     {Service: "shed"},
		"other service": {Service: "barn"},
		"own":           shed(),
		"other text":    {Service: "shed", Migrations: migration("SELECT 1;")},
	} {
		f, err := pg.Fingerprint(s)
		if err != nil {
			t.Fatal(err)
		}
		if other, ok := seen[f]; ok {
			t.Errorf("%q and %q have the same fingerprint", name, other)
		}
		seen[f] = name
		if again, _ := pg.Fingerprint(s); again != f {
			t.Errorf("%q: the fingerprint changes", name)
		}
	}
}
