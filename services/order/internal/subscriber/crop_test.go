package subscriber_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/order/internal/subscriber"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

const (
	filling  = schedulingv1.StageKind_STAGE_KIND_FILLING
	spawning = schedulingv1.StageKind_STAGE_KIND_SPAWNING
	casing   = schedulingv1.StageKind_STAGE_KIND_CASING
)

// crop is filled on a day of December 2026, spawned 13 days later, and cased 17 days after that. The
// steps of begun have begun.
func crop(version int64, spawn, cased string, begun ...schedulingv1.StageKind) *schedulingv1.Crop {
	grams := int64(9_600_000)
	c := &schedulingv1.Crop{
		CropId: "alder-1-20261203", RoomId: "alder-1", FarmId: "alder", Species: "white mushroom", Strain: "white hybrid strain",
		State: schedulingv1.CropState_CROP_STATE_PLANNED, SpawnGrams: 96_000, CasingGrams: &grams, Version: version,
	}
	for _, s := range []struct {
		kind schedulingv1.StageKind
		date string
	}{{filling, "2026-12-03"}, {spawning, spawn}, {casing, cased}} {
		stage := &schedulingv1.CropStage{Kind: s.kind, StartDate: s.date}
		for _, kind := range begun {
			if kind == s.kind {
				stage.ActualStartDate = &s.date
			}
		}
		c.Stages = append(c.Stages, stage)
	}
	return c
}

// life is what scheduling tells of a crop, oldest first.
func life() []proto.Message {
	ended := crop(5, "2026-12-20", "2027-01-06", filling, spawning, casing)
	ended.State = schedulingv1.CropState_CROP_STATE_ENDED
	return []proto.Message{
		&schedulingv1.CropPlanned{Crop: crop(1, "2026-12-16", "2027-01-02")},
		&schedulingv1.CropMoved{Crop: crop(2, "2026-12-20", "2027-01-06")},
		&schedulingv1.CropStageReached{Crop: crop(3, "2026-12-20", "2027-01-06", filling), Kind: filling},
		&schedulingv1.CropStageReached{Crop: crop(4, "2026-12-20", "2027-01-06", filling, spawning), Kind: spawning},
		&schedulingv1.CropEnded{Crop: ended},
	}
}

// needed is what the crop still needs, empty days where nothing.
type needed struct {
	Spawn, Casing           string
	SpawnGrams, CasingGrams int64
	Version                 int64
}

func TestACropNeedsSpawnUntilItIsSpawned(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	need := func(coop string) (n needed, err error) {
		err = pg.InReadTx(context.Background(), pool, coop, func(ctx context.Context, tx pgx.Tx) error {
			return tx.QueryRow(ctx, `SELECT coalesce(spawn_date::text, ''), coalesce(casing_date::text, ''), spawn_grams, casing_grams, version FROM crop_need`).
				Scan(&n.Spawn, &n.Casing, &n.SpawnGrams, &n.CasingGrams, &n.Version)
		})
		return n, err
	}
	after := []needed{
		{"2026-12-16", "2027-01-02", 96_000, 9_600_000, 1}, {"2026-12-20", "2027-01-06", 96_000, 9_600_000, 2},
		{"2026-12-20", "2027-01-06", 96_000, 9_600_000, 3}, {"", "2027-01-06", 96_000, 9_600_000, 4}, {"", "", 96_000, 9_600_000, 5},
	}
	coop := testkit.Coop()
	for i, e := range life() {
		if err := apply(pool, coop, subscriber.Scheduling(), e); err != nil {
			t.Fatal(err)
		}
		got, err := need(coop.CoopID)
		if d := cmp.Diff(after[i], got); d != "" || err != nil {
			t.Errorf("after event %d: %v (-want +got):\n%s", i, err, d)
		}
	}
	// Whatever comes twice or out of order, it ends as it does in order.
	for seed := range uint64(12) {
		turn := rand.New(rand.NewPCG(seed, 1))
		coop, n := testkit.Coop(), 1+turn.IntN(len(after))
		events := append(life()[:n:n], life()[:n]...)
		turn.Shuffle(len(events), func(i, j int) { events[i], events[j] = events[j], events[i] })
		for _, e := range events {
			if err := apply(pool, coop, subscriber.Scheduling(), e); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := need(coop.CoopID); err != nil || got != after[n-1] {
			t.Fatalf("seed %d: got %v (%v), want %v", seed, got, err, after[n-1])
		}
	}
}

func TestCropsThatMakeNoSenseAreNotTriedAgain(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	nameless, undated := crop(1, "2026-12-16", "2027-01-02"), crop(1, "2026-12-32", "2027-01-02")
	nameless.CropId = ""
	forGood := reflect.TypeOf(inbox.Permanent(errors.New("")))
	for name, c := range map[string]*schedulingv1.Crop{"nameless": nameless, "undated": undated, "without a version": crop(0, "2026-12-16", "2027-01-02")} {
		if err := apply(pool, coop, subscriber.Scheduling(), &schedulingv1.CropPlanned{Crop: c}); reflect.TypeOf(err) != forGood {
			t.Errorf("%s: %v", name, err)
		}
	}
}
