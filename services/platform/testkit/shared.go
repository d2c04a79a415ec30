package testkit

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/pg"
)

// sharedPools are those that tests of this process use together, by service.
var sharedPools struct {
	sync.Mutex
	by map[string]*sharedPool
}

type sharedPool struct {
	pool  *pgxpool.Pool
	users int
	drop  func() error
}

// SharedPool is Pool on a database that the tests under way have together, each
// with a co-op of its own: they see nothing of one another, and a database for
// each would take longer than most of them. It is dropped when no test uses it.
// A test that looks at all co-ops needs Pool.
func SharedPool(t testing.TB, s pg.Schema) *pgxpool.Pool {
	t.Helper()
	sharedPools.Lock()
	defer sharedPools.Unlock()
	shared := sharedPools.by[s.Service]
	if shared == nil {
		shared = newSharedPool(t, s)
		if sharedPools.by == nil {
			sharedPools.by = map[string]*sharedPool{}
		}
		sharedPools.by[s.Service] = shared
	}
	shared.users++
	t.Cleanup(func() {
		sharedPools.Lock()
		defer sharedPools.Unlock()
		if shared.users--; shared.users > 0 {
			return
		}
		delete(sharedPools.by, s.Service)
		shared.pool.Close()
		if err := shared.drop(); err != nil {
			t.Errorf("testkit: %v", err)
		}
	})
	return shared.pool
}

func newSharedPool(t testing.TB, s pg.Schema) *sharedPool {
	t.Helper()
	url := cluster(t)
	// The test that comes first does not end for all of them.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), 2*time.Minute)
	defer cancel()
	template, err := templateFor(ctx, url, s)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	name, drop, err := cloned(ctx, url, template)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	access, err := pg.AccessTo(ctx, inDatabase(t, url, name), s.Service)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	pool, err := pg.Open(ctx, access.ServiceURL, poolConns)
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	return &sharedPool{pool: pool, drop: drop}
}
