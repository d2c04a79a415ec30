package members_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// owner is scheduling with one crop, and with no settings saved. It remembers what it was
// asked, and by whom.
type owner struct {
	schedulingv1.SchedulingServiceClient
	spans []string
	roles []identity.Role
}

func (o *owner) GetCoop(ctx context.Context, _ *schedulingv1.GetCoopRequest, _ ...grpc.CallOption) (*schedulingv1.Coop, error) {
	o.roles = append(o.roles, identity.Must(ctx).Role)
	return nil, fault.New(fault.NotFound, "NO_COOP", "no settings are saved")
}

func (o *owner) GetCalendar(ctx context.Context, req *schedulingv1.GetCalendarRequest, _ ...grpc.CallOption) (*schedulingv1.GetCalendarResponse, error) {
	o.roles = append(o.roles, identity.Must(ctx).Role)
	o.spans = append(o.spans, req.GetFromDate()+" "+req.GetToDate())
	resp := &schedulingv1.GetCalendarResponse{}
	for _, id := range []string{"wanted", "other"} {
		resp.Crops = append(resp.Crops, &schedulingv1.Crop{CropId: id, RoomId: "alder-1", FarmId: "alder", FillDate: "2026-03-20", State: schedulingv1.CropState_CROP_STATE_RUNNING})
	}
	return resp, nil
}

func TestLearnAsksForWhatIsMissingOnly(t *testing.T) {
	t.Parallel()
	pool, coop, o := testkit.Pool(t, store.Schema()), testkit.Coop(), &owner{}
	ctx, d := testkit.Context(t, coop), members.NewDirectory(pool, o)
	march, later := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC), time.Date(2028, 9, 1, 0, 0, 0, 0, time.UTC)
	wanted := members.Wanted{Coop: true, Crops: map[string]time.Time{"wanted": march, "none": later}}
	if err := d.Learn(ctx, wanted); err != nil {
		t.Fatal(err)
	}
	// 60 days around the days named, in spans of at most 800 days, as a service of the co-op.
	if diff := cmp.Diff([]string{"2026-01-19 2028-03-29", "2028-03-29 2028-10-31"}, o.spans); diff != "" {
		t.Errorf("asked for (-want +got):\n%s", diff)
	}
	if i := slices.IndexFunc(o.roles, func(r identity.Role) bool { return r != identity.Service }); i >= 0 {
		t.Errorf("asked as %v", o.roles)
	}
	err := pg.InReadTx(ctx, pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.Crops(ctx, tx, []string{"wanted", "other", "none"})
		want := map[string]store.Crop{"wanted": {ID: "wanted", RoomID: "alder-1", FarmID: "alder", FillDate: march}}
		if diff := cmp.Diff(want, crops); diff != "" {
			t.Errorf("learnt (-want +got):\n%s", diff)
		}
		if _, known, err := store.FindCoop(ctx, tx); known || err != nil {
			t.Errorf("settings that are not saved became known (%v)", err)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	asked := len(o.roles)
	if err := d.Learn(ctx, members.Wanted{Farms: []string{""}, Crops: map[string]time.Time{"wanted": march}}); err != nil {
		t.Fatal(err)
	}
	if len(o.roles) != asked {
		t.Error("asked again for what is known")
	}
}
