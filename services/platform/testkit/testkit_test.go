package testkit_test

import (
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestPoolsAreSeparateDatabases(t *testing.T) {
	t.Parallel()
	coop := testkit.Coop()
	ctx := testkit.Context(t, coop)
	a, b := testkit.Pool(t, pg.Schema{Service: "kit"}), testkit.Pool(t, pg.Schema{Service: "kit"})
	var nameA, nameB string
	if err := a.QueryRow(ctx, `SELECT current_database()`).Scan(&nameA); err != nil {
		t.Fatal(err)
	}
	if err := b.QueryRow(ctx, `SELECT current_database()`).Scan(&nameB); err != nil {
		t.Fatal(err)
	}
	if nameA == nameB {
		t.Errorf("both pools are on %s", nameA)
	}
}

func TestDatabaseIsDroppedWithItsTest(t *testing.T) {
	t.Parallel()
	admin := testkit.Postgres(t)
	var name string
	t.Run("inner", func(t *testing.T) {
		pool := testkit.Pool(t, pg.Schema{Service: "kit"})
		if err := pool.QueryRow(t.Context(), `SELECT current_database()`).Scan(&name); err != nil {
			t.Fatal(err)
		}
	})
	var there bool
	pool := testkit.Open(t, admin)
	if err := pool.QueryRow(t.Context(), `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&there); err != nil {
		t.Fatal(err)
	}
	if there {
		t.Errorf("database %s outlived its test", name)
	}
}

func TestContextCarriesTheCaller(t *testing.T) {
	t.Parallel()
	coop := testkit.Coop()
	if got := identity.Must(testkit.Context(t, coop)); got != coop {
		t.Errorf("got %+v, want %+v", got, coop)
	}
	if err := coop.Validate(); err != nil {
		t.Errorf("Coop() is not a whole identity: %v", err)
	}
	if other := testkit.Coop(); other.CoopID == coop.CoopID {
		t.Errorf("two co-ops share the id %s", coop.CoopID)
	}
}

func TestEventuallyWaits(t *testing.T) {
	t.Parallel()
	calls := 0
	testkit.Eventually(t, "third call", func() bool { calls++; return calls == 3 })
	if calls != 3 {
		t.Errorf("condition asked %d times, want 3", calls)
	}
}

func TestBusCarriesNothingAtFirst(t *testing.T) {
	t.Parallel()
	b := testkit.Bus(t)
	s, err := b.JetStream().Stream(t.Context(), "BREAKSHARE")
	if err != nil {
		t.Fatal(err)
	}
	if n := s.CachedInfo().State.Msgs; n != 0 {
		t.Errorf("a fresh bus holds %d messages", n)
	}
}

// Tests under way share a pool; the last one to end drops the database.
func TestSharedPoolLastsAsLongAsItsTests(t *testing.T) {
	t.Parallel()
	schema := pg.Schema{Service: "together"}
	var first *pgxpool.Pool
	t.Run("under way", func(t *testing.T) {
		first = testkit.SharedPool(t, schema)
		t.Run("another", func(t *testing.T) {
			if testkit.SharedPool(t, schema) != first {
				t.Error("two tests under way have two pools")
			}
		})
		if err := first.Ping(t.Context()); err != nil {
			t.Errorf("closed while a test uses it: %v", err)
		}
	})
	if err := first.Ping(t.Context()); err == nil {
		t.Error("open after the last test")
	}
	if testkit.SharedPool(t, schema) == first {
		t.Error("a pool that was closed is given again")
	}
}
