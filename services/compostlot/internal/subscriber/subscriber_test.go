package subscriber_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/compostlot/internal/subscriber"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// apply hands an event to its handler as the consumer does.
func apply(t *testing.T, pool *pgxpool.Pool, coop identity.Identity, event proto.Message) error {
	t.Helper()
	name := string(event.ProtoReflect().Descriptor().FullName())
	handler := subscriber.Handlers()[name]
	if handler == nil {
		t.Fatalf("nothing is done with %s", name)
	}
	payload, err := proto.Marshal(event)
	if err != nil {
		t.Fatal(err)
	}
	return pg.InTx(testkit.Context(t, coop), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		return handler(ctx, tx, inbox.Message{CoopID: coop.CoopID, Type: name, Payload: payload})
	})
}

func crop(version int64, fill string, state schedulingv1.CropState) *schedulingv1.Crop {
	return &schedulingv1.Crop{
		CropId: "alder-1-20260320", RoomId: "alder-1", FarmId: "alder", FillDate: fill, State: state, Version: version,
		CompostGrams: 21_500_000, CompostPhase: typev1.CompostPhase_COMPOST_PHASE_TWO,
	}
}

// Whatever order events come in, and however often, the newest version stands.
func TestNewestVersionStands(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	const planned, running = schedulingv1.CropState_CROP_STATE_PLANNED, schedulingv1.CropState_CROP_STATE_RUNNING
	tape := []proto.Message{
		&schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{TimeZone: "Europe/Paris"}, Version: 1},
		&schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{TimeZone: "Europe/Dublin"}, Version: 2},
		&schedulingv1.FarmSaved{Farm: &schedulingv1.Farm{FarmId: "alder", MemberShares: 10}, Version: 1},
		&schedulingv1.FarmSaved{Farm: &schedulingv1.Farm{FarmId: "alder", MemberShares: 12}, Version: 2},
		&schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: "alder-1", FarmId: "birch"}, Version: 1},
		&schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: "alder-1", FarmId: "alder"}, Version: 2},
		&schedulingv1.CropPlanned{Crop: crop(1, "2026-03-20", planned)},
		&schedulingv1.CropMoved{Crop: crop(2, "2026-03-22", planned)},
		&schedulingv1.CropStageReached{Crop: crop(3, "2026-03-23", running), Kind: schedulingv1.StageKind_STAGE_KIND_FILLING},
		&schedulingv1.CropEnded{Crop: crop(4, "2026-03-24", schedulingv1.CropState_CROP_STATE_ENDED)},
	}
	for seed := range uint64(10) {
		coop := testkit.Coop()
		shuffled := append(append([]proto.Message{}, tape...), tape...)
		rand.New(rand.NewPCG(seed, 7)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		for _, e := range shuffled {
			if err := apply(t, pool, coop, e); err != nil {
				t.Fatal(err)
			}
		}
		err := pg.InReadTx(testkit.Context(t, coop), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
			settings, _, err := store.FindCoop(ctx, tx)
			if err != nil {
				return err
			}
			farms, err := store.Farms(ctx, tx, []string{"alder"})
			if err != nil {
				return err
			}
			rooms, err := store.Rooms(ctx, tx, []string{"alder-1"})
			if err != nil {
				return err
			}
			crops, err := store.Crops(ctx, tx, []string{"alder-1-20260320"})
			if err != nil {
				return err
			}
			got := crops["alder-1-20260320"]
			if settings.TimeZone != "Europe/Dublin" || farms["alder"].MemberShares != 12 || rooms["alder-1"].FarmID != "alder" ||
				!got.Ended || got.FillDate.Day() != 24 || got.CompostGrams != 21_500_000 || got.Phase != 2 {
				t.Errorf("seed %d ends with %v, %v, %v, %v", seed, settings, farms, rooms, crops)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// An event that no trying again can mend goes to the dead letters at once.
func TestUnusableCrop(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	err := apply(t, pool, coop, &schedulingv1.CropPlanned{Crop: crop(1, "2026-02-30", schedulingv1.CropState_CROP_STATE_PLANNED)})
	if err == nil || !strings.Contains(err.Error(), "fill date") {
		t.Errorf("a crop without a day: %v", err)
	}
	// The error says it by its type, which the consumer looks for.
	if want, got := fmt.Sprintf("%T", inbox.Permanent(errors.New("any"))), fmt.Sprintf("%T", err); got != want {
		t.Errorf("the error is a %s, want a %s", got, want)
	}
}
