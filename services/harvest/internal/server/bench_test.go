package server

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/localpg"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// copyRows copies as many rows as there are readings into a table without
// row-level security (COPY does not go with it), with the same columns and key,
// and returns how long that took.
func copyRows(b *testing.B, list []*harvestv1.ClimateReading, first bool) time.Duration {
	b.Helper()
	if first {
		bare.pool = bareTable(b, testkit.Postgres(b), `CREATE TABLE bare (
			coop_id uuid, room_id text, kind smallint, time timestamptz, value int, PRIMARY KEY (coop_id, room_id, kind, time))`)
		bare.coop = ids.New()
	}
	rows := make([][]any, len(list))
	for i, r := range list {
		rows[i] = []any{bare.coop, r.GetRoomId(), int16(r.GetKind()), r.GetTime().AsTime(), r.GetValue()}
	}
	start := time.Now()
	if _, err := bare.pool.CopyFrom(b.Context(), pgx.Identifier{"bare"}, []string{"coop_id", "room_id", "kind", "time", "value"}, pgx.CopyFromRows(rows)); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
}

// bare is the table of the benchmark under way.
var bare struct {
	pool *pgxpool.Pool
	coop string
}

func bareTable(b *testing.B, url, create string) *pgxpool.Pool {
	b.Helper()
	pool, err := pg.Open(b.Context(), url, clients)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pool.Close)
	if _, err := pool.Exec(b.Context(), create); err != nil {
		b.Fatal(err)
	}
	return pool
}

// clients is how many push at once.
const clients = 32

// BenchmarkPushesAtOnce has 32 clients push one figure each over gRPC to a
// cluster that forces every commit to disk, and in the same run 32 connections
// insert and commit one row each into a bare table there. The ratio is commits
// per second of the one over the other. Beside them stand calls per second that
// do nothing at all.
func BenchmarkPushesAtOnce(b *testing.B) {
	cluster, err := localpg.Start(b.Context(), localpg.Options{Folder: filepath.Join(testkit.Folder(b), "pg"), MaxConnections: 120})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		if err := cluster.Stop(ctx); err != nil {
			b.Error(err)
		}
	})
	access, err := pg.Prepare(b.Context(), cluster.AdminURL(), store.Schema())
	if err != nil {
		b.Fatal(err)
	}
	pool, err := pg.Open(b.Context(), access.ServiceURL, clients)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pool.Close)
	r := newRigOn(b, pool)
	coop := r.settle(b)
	for i := range clients {
		r.hear(b, coop, "scheduling", room(fmt.Sprintf("r-%d", i), "alder-brook"))
		c := whiteCrop()
		c.CropId, c.RoomId = fmt.Sprintf("r-%d-1", i), fmt.Sprintf("r-%d", i)
		r.hear(b, coop, "scheduling", planned(c))
	}
	plain := bareTable(b, cluster.AdminURL(), `CREATE TABLE bare (id uuid PRIMARY KEY, room_id text, day date, grams bigint)`)
	ctx := testkit.Context(b, coop)
	push := func(client, n int) error {
		g := int64(1 + n)
		_, err := r.PushExpectedPicks(ctx, pushOf(expect(fmt.Sprintf("r-%d", client), "white-2kg", noon.AddDate(0, 0, n%68-54).Format(time.DateOnly), g, g, g)))
		return err
	}
	insert := func(client, n int) error {
		_, err := plain.Exec(ctx, `INSERT INTO bare (id, room_id, day, grams) VALUES ($1, $2, $3, $4)`,
			ids.New(), fmt.Sprintf("r-%d", client), noon.AddDate(0, 0, n%28), int64(n))
		return err
	}
	const each = 40
	// What 32 clients get from calls that do nothing bounds what they get from pushes.
	call := func(int, int) error {
		_, err := r.ListPests(ctx, &harvestv1.ListPestsRequest{})
		return err
	}
	var pushed, inserted, called time.Duration
	var waits []time.Duration
	// A co-op at work, not an empty one: each table has rows, and PostgreSQL has
	// looked how many.
	atOnce(b, each, 0, push)
	atOnce(b, each, 0, insert)
	if _, err := plain.Exec(ctx, `ANALYZE`); err != nil {
		b.Fatal(err)
	}
	n := 1
	for b.Loop() {
		took, w := atOnce(b, each, n*each, push)
		pushed, waits = pushed+took, append(waits, w...)
		took, _ = atOnce(b, each, n*each, insert)
		inserted += took
		took, _ = atOnce(b, each, n*each, call)
		called += took
		n++
	}
	commits := float64((n - 1) * each * clients)
	slices.Sort(waits)
	b.ReportMetric(commits/pushed.Seconds(), "pushes/s")
	b.ReportMetric(commits/inserted.Seconds(), "inserts/s")
	b.ReportMetric(commits/called.Seconds(), "calls/s")
	b.ReportMetric(inserted.Seconds()/pushed.Seconds(), "ratio")
	b.ReportMetric(float64(waits[len(waits)*99/100].Milliseconds()), "p99-ms")
}

// atOnce has every client do a number of things, one after the other, and
// returns how long all took and how long each.
func atOnce(b *testing.B, each, from int, do func(client, n int) error) (time.Duration, []time.Duration) {
	b.Helper()
	waits := make([][]time.Duration, clients)
	errs := make([]error, clients)
	var wg sync.WaitGroup
	start := time.Now()
	for c := range clients {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for n := range each {
				began := time.Now()
				if errs[c] = do(c, from+n); errs[c] != nil {
					return
				}
				waits[c] = append(waits[c], time.Since(began))
			}
		}()
	}
	wg.Wait()
	took := time.Since(start)
	for _, err := range errs {
		if err != nil {
			b.Fatal(err)
		}
	}
	return took, slices.Concat(waits...)
}
