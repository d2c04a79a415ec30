package pg_test

import (
	"context"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestEnsureDatabaseByManyAtOnce(t *testing.T) {
	t.Parallel()
	first := pg.Server{AdminURL: testkit.Postgres(t)}
	name := "breakshare_test_" + strings.ReplaceAll(ids.New(), "-", "") + "_Mixed"
	t.Cleanup(func() {
		conn, err := pgx.Connect(context.Background(), first.AdminURL)
		if err != nil {
			t.Error(err)
			return
		}
		defer conn.Close(context.Background())
		if _, err := conn.Exec(context.Background(), `DROP DATABASE "`+name+`" WITH (FORCE)`); err != nil {
			t.Error(err)
		}
	})
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			got, err := first.EnsureDatabase(t.Context(), name)
			if err != nil {
				t.Error(err)
				return
			}
			if _, err := got.Prepare(t.Context(), shed()); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	again, err := first.EnsureDatabase(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	var is string
	if err := testkit.Open(t, again.AdminURL).QueryRow(t.Context(), `SELECT current_database()`).Scan(&is); err != nil || is != name {
		t.Errorf("connected to %q (%v), want %q", is, err, name)
	}
}
