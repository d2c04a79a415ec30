package pg_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"

	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func count(t *testing.T, pool *pgxpool.Pool, coop string) (n int) {
	t.Helper()
	err := pg.InReadTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT count(*) FROM shelf`).Scan(&n)
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestInTxKeepsAllOrNothing(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, shed()), ids.New()
	broken := errors.New("broken")
	err := pg.InTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, samples["shelf"], coop)
		return errors.Join(err, broken)
	})
	if !errors.Is(err, broken) || count(t, pool, coop) != 0 {
		t.Errorf("got %v and %d rows, want %v and none", err, count(t, pool, coop), broken)
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_ = pg.InTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, samples["shelf"], coop); err != nil {
				return err
			}
			panic("broken")
		})
	}()
	if n := count(t, pool, coop); n != 0 {
		t.Errorf("a panic left %d rows", n)
	}
	if n := pool.Stat().AcquiredConns(); n != 0 {
		t.Errorf("%d connections were not given back", n)
	}
	if err := insertSample(t, pool, coop, coop, "shelf"); err != nil || count(t, pool, coop) != 1 {
		t.Errorf("got %v and %d rows, want 1", err, count(t, pool, coop))
	}
}

// Two transactions take two rows in opposite order and meet half-way.
func TestInTxRepeatsAfterADeadlock(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, shed()), ids.New()
	rows := [2]string{ids.New(), ids.New()}
	err := pg.InTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO shelf (coop_id, id, name) VALUES ($1, $2, ''), ($1, $3, '')`, coop, rows[0], rows[1])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	add := func(ctx context.Context, tx pgx.Tx, row string) error {
		_, err := tx.Exec(ctx, `UPDATE shelf SET name = name || '+' WHERE id = $1`, row)
		return err
	}
	var wg, met sync.WaitGroup
	met.Add(2)
	attempts := [2]int{}
	for i := range 2 {
		wg.Go(func() {
			err := pg.InTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
				attempts[i]++
				if err := add(ctx, tx, rows[i]); err != nil {
					return err
				}
				if attempts[i] == 1 {
					met.Done()
					met.Wait()
				}
				return add(ctx, tx, rows[1-i])
			})
			if err != nil {
				t.Errorf("transaction %d: %v", i, err)
			}
		})
	}
	wg.Wait()
	if attempts[0]+attempts[1] < 3 {
		t.Errorf("attempts %v: there was no deadlock to repeat", attempts)
	}
	err = pg.InReadTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		var n int
		err := tx.QueryRow(ctx, `SELECT count(*) FROM shelf WHERE name = '++'`).Scan(&n)
		if n != 2 {
			t.Errorf("%d rows have both additions, want 2", n)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

func TestInTxGivesUpInTheEnd(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, shed()), ids.New()
	clash := func(n *int) func(context.Context, pgx.Tx) error {
		return func(context.Context, pgx.Tx) error {
			*n++
			return fmt.Errorf("always: %w", &pgconn.PgError{Code: "40001"})
		}
	}
	attempts := 0
	if err := pg.InTx(t.Context(), pool, coop, clash(&attempts)); code(err) != "40001" || attempts != 6 {
		t.Errorf("got %v after %d attempts, want 40001 after 6", err, attempts)
	}
	ctx, cancel := context.WithCancel(t.Context())
	attempts = 0
	err := pg.InTx(ctx, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		cancel()
		return clash(&attempts)(ctx, tx)
	})
	if !errors.Is(err, context.Canceled) || attempts != 1 {
		t.Errorf("got %v after %d attempts, want context.Canceled after 1", err, attempts)
	}
}

func TestInTxRefuses(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, shed()), ids.New()
	never := func(context.Context, pgx.Tx) error { t.Error("fn ran"); return nil }
	for _, id := range []string{"", "x", "'; DROP TABLE shelf; --"} {
		if err := pg.InTx(t.Context(), pool, id, never); err == nil || !strings.Contains(err.Error(), "not a UUID") {
			t.Errorf("co-op %q: got %v", id, err)
		}
	}
	err := pg.InTx(t.Context(), pool, coop, func(ctx context.Context, _ pgx.Tx) error {
		return pg.InReadTx(ctx, pool, coop, never)
	})
	if !errors.Is(err, pg.ErrNested) {
		t.Errorf("nested on one pool: got %v, want %v", err, pg.ErrNested)
	}
	err = pg.InReadTx(t.Context(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, samples["shelf"], coop)
		return err
	})
	if code(err) != readOnlyTransaction {
		t.Errorf("writing while reading: got %v, want %s", err, readOnlyTransaction)
	}
}

// The scope of one transaction must not stay on the connection for the next.
func TestTheScopeEndsWithItsTransaction(t *testing.T) {
	t.Parallel()
	db := testkit.Prepared(t, shed())
	pool, err := pg.Open(t.Context(), db.ServiceURL, 1)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	first, second := ids.New(), ids.New()
	if err := insertSample(t, pool, first, first, "shelf"); err != nil {
		t.Fatal(err)
	}
	if n := count(t, pool, second); n != 0 {
		t.Errorf("the second co-op sees %d rows of the first", n)
	}
	if _, err := pool.Exec(t.Context(), `SELECT * FROM shelf`); err == nil {
		t.Error("without a scope the table can be read")
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	for url, conns := range map[string]int32{"postgres:///x": 0, "postgres://127.0.0.1:1/x": 1, "no url at all": 1} {
		if pool, err := pg.Open(t.Context(), url, conns); err == nil {
			pool.Close()
			t.Errorf("%q with %d connections opened", url, conns)
		}
	}
}

func TestObserveReportsConnections(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, shed())
	reader := metric.NewManualReader()
	meter := metric.NewMeterProvider(metric.WithReader(reader)).Meter("test")
	stop, err := pg.Observe(meter, "shed", pool)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := pool.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Release()
	used := func() (n int64, found bool) {
		var all metricdata.ResourceMetrics
		if err := reader.Collect(t.Context(), &all); err != nil {
			t.Fatal(err)
		}
		for _, scope := range all.ScopeMetrics {
			for _, m := range scope.Metrics {
				sum, ok := m.Data.(metricdata.Sum[int64])
				if !ok || m.Name != "db.client.connection.count" {
					continue
				}
				for _, p := range sum.DataPoints {
					if v, _ := p.Attributes.Value("db.client.connection.state"); v.AsString() == "used" {
						return p.Value, true
					}
				}
			}
		}
		return 0, false
	}
	if n, ok := used(); !ok || n != 1 {
		t.Errorf("reports %d connections in use (%t), want 1", n, ok)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	if n, ok := used(); ok {
		t.Errorf("still reports %d connections after stop", n)
	}
}
