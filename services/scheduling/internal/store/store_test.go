package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

var at = time.Date(2026, time.March, 2, 12, 0, 0, 123_000, time.UTC)

func change(version int64) store.Change { return store.Change{Version: version, By: "Office", At: at} }

// in runs fn in a transaction of the co-op.
func in(t *testing.T, pool *pgxpool.Pool, coop identity.Identity, fn func(ctx context.Context, tx pgx.Tx) error) error {
	t.Helper()
	return pg.InTx(testkit.Context(t, coop), pool, coop.CoopID, fn)
}

func do(t *testing.T, pool *pgxpool.Pool, coop identity.Identity, fn func(ctx context.Context, tx pgx.Tx) error) {
	t.Helper()
	if err := in(t, pool, coop, fn); err != nil {
		t.Fatal(err)
	}
}

// put checks that a write was taken, or not, as wanted.
func put(t *testing.T, what string, want bool) func(bool, error) error {
	return func(got bool, err error) error {
		t.Helper()
		if got != want {
			t.Errorf("%s: written %v, want %v", what, got, want)
		}
		return err
	}
}

func farm() store.Farm {
	return store.Farm{ID: "elm-end", Name: "Elm End", Place: "Ballyfenn", MemberShares: 30, CarryCostMinorPerKg: 12, Change: change(1)}
}

func room() store.Room {
	return store.Room{ID: "elm-end-1", FarmID: "elm-end", Name: "House 1", AreaM2: 200, System: programme.Shelves, Change: change(1)}
}

func builtin(t *testing.T) store.ProgrammeVersion {
	t.Helper()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		if p.ID == "white-shelves" {
			return store.ProgrammeVersion{Programme: p, Origin: store.BuiltIn, Change: change(1)}
		}
	}
	t.Fatal("no white-shelves")
	return store.ProgrammeVersion{}
}

func crop() store.Crop {
	day := func(d int) calendar.Date { return calendar.On(2026, time.April, 6).Add(d) }
	from, until, filled := day(0), day(85), day(0)
	return store.Crop{
		ID: "elm-end-1-20260406", RoomID: "elm-end-1", FarmID: "elm-end", Programme: store.ProgrammeKey{ID: "white-shelves", Version: 1},
		State: store.Running, AreaM2: 200, PlannedFill: day(0), Fill: day(0), FirstPick: day(47), Free: day(85),
		OccupiedFrom: &from, OccupiedEnd: &until,
		Stages: []store.Stage{
			{Kind: programme.PhaseI, Start: day(-9), End: day(0), Earliest: day(-14), Latest: day(-6)},
			{Kind: programme.Filling, Start: day(0), End: day(47), Earliest: day(0), Latest: day(0), Actual: &filled, OutsideRange: true},
			{Kind: programme.Cropping, Start: day(47), End: day(85), Earliest: day(40), Latest: day(60)},
		},
		Change: change(1),
	}
}

func settle(t *testing.T, pool *pgxpool.Pool, coop identity.Identity) {
	t.Helper()
	do(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		return errors.Join(
			put(t, "farm", true)(store.PutFarm(ctx, tx, coop.CoopID, farm())),
			put(t, "room", true)(store.PutRoom(ctx, tx, coop.CoopID, room())),
			put(t, "programme", true)(store.AddProgramme(ctx, tx, coop.CoopID, builtin(t))),
			put(t, "crop", true)(store.PutCrop(ctx, tx, coop.CoopID, 0, crop())),
		)
	})
}

// What is written is read back equal, to the day and the microsecond.
func TestRowsComeBackEqual(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	settle(t, pool, coop)
	do(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		farms, err1 := store.ListFarms(ctx, tx, "")
		rooms, err2 := store.ListRooms(ctx, tx, "elm-end")
		crops, err3 := store.GetCrops(ctx, tx, []string{crop().ID, "nobody"})
		key := store.ProgrammeKey{ID: "white-shelves", Version: 1}
		programmes, err4 := store.GetProgrammes(ctx, tx, []store.ProgrammeKey{key, {ID: "white-shelves", Version: 2}})
		for what, pair := range map[string][2]any{
			"farms":      {[]store.Farm{farm()}, farms},
			"rooms":      {[]store.Room{room()}, rooms},
			"crops":      {map[string]store.Crop{crop().ID: crop()}, crops},
			"programmes": {map[store.ProgrammeKey]*programme.Programme{key: builtin(t).Programme}, programmes},
		} {
			if diff := cmp.Diff(pair[0], pair[1]); diff != "" {
				t.Errorf("%s (-want +got):\n%s", what, diff)
			}
		}
		return errors.Join(err1, err2, err3, err4)
	})
}

// A row is changed only from the version that was read.
func TestPutKeepsVersions(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	settle(t, pool, coop)
	do(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		f, r, c := farm(), room(), crop()
		settings := store.Coop{Name: "Stillwater", TimeZone: "Europe/Dublin", CurrencyCode: "EUR", MassUnit: "kg", TemperatureUnit: "C", Change: change(1)}
		next, skipping := settings, settings
		next.Version, skipping.Version = 2, 4
		errs := []error{
			put(t, "farm created twice", false)(store.PutFarm(ctx, tx, coop.CoopID, f)),
			put(t, "room created twice", false)(store.PutRoom(ctx, tx, coop.CoopID, r)),
			put(t, "crop created twice", false)(store.PutCrop(ctx, tx, coop.CoopID, 0, c)),
			put(t, "programme created twice", false)(store.AddProgramme(ctx, tx, coop.CoopID, builtin(t))),
			put(t, "settings", true)(store.PutCoop(ctx, tx, coop.CoopID, settings)),
			put(t, "settings created twice", false)(store.PutCoop(ctx, tx, coop.CoopID, settings)),
			put(t, "settings changed", true)(store.PutCoop(ctx, tx, coop.CoopID, next)),
			put(t, "settings from a version not there", false)(store.PutCoop(ctx, tx, coop.CoopID, skipping)),
		}
		f.Version, r.Version, c.Version = 2, 2, 3
		c.Stages[0].Start = c.Stages[0].Start.Add(1)
		return errors.Join(append(errs,
			put(t, "farm changed", true)(store.PutFarm(ctx, tx, coop.CoopID, f)),
			put(t, "room changed", true)(store.PutRoom(ctx, tx, coop.CoopID, r)),
			put(t, "crop changed", true)(store.PutCrop(ctx, tx, coop.CoopID, 1, c)),
			put(t, "crop changed from an old version", false)(store.PutCrop(ctx, tx, coop.CoopID, 1, c)),
		)...)
	})
	do(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.GetCrops(ctx, tx, []string{crop().ID})
		if got := crops[crop().ID]; got.Version != 3 || got.Stages[0].Start != crop().Stages[0].Start.Add(1) {
			t.Errorf("crop after the change: %+v", got)
		}
		return err
	})
}

// Row-level security: another co-op sees nothing of it and cannot write into it.
func TestCoopsAreApart(t *testing.T) {
	t.Parallel()
	pool, coop, other := testkit.Pool(t, store.Schema()), testkit.Coop(), testkit.Coop()
	settle(t, pool, coop)
	do(t, pool, other, func(ctx context.Context, tx pgx.Tx) error {
		farms, err1 := store.ListFarms(ctx, tx, "")
		crops, err2 := store.ListCalendar(ctx, tx, "", calendar.FirstDate, calendar.LastDate)
		locked, err3 := store.LockRooms(ctx, tx, []string{"elm-end-1"})
		if len(farms)+len(crops)+len(locked) > 0 {
			t.Errorf("the other co-op sees %v %v %v", farms, crops, locked)
		}
		return errors.Join(err1, err2, err3)
	})
	err := in(t, pool, other, func(ctx context.Context, tx pgx.Tx) error {
		_, err := store.PutFarm(ctx, tx, coop.CoopID, store.Farm{ID: "spy", Name: "Spy", MemberShares: 1, Change: change(1)})
		return err
	})
	wantCode(t, "a farm for another co-op", err, "42501")
}

// The tables refuse what the rules would never write.
func TestTablesRefuseNonsense(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	settle(t, pool, coop)
	for what, c := range map[string]struct {
		spoil func(*store.Crop)
		code  string
	}{
		"occupied until before it begins": {func(c *store.Crop) { c.OccupiedEnd = &c.PlannedFill }, "23514"},
		"occupied without end":            {func(c *store.Crop) { c.OccupiedEnd = nil }, "23514"},
		"ended without a day":             {func(c *store.Crop) { c.State = store.Ended }, "23514"},
		"called off while running":        {func(c *store.Crop) { c.CalledOff, c.OccupiedFrom, c.OccupiedEnd = true, nil, nil }, "23514"},
		"picked before filling":           {func(c *store.Crop) { c.FirstPick = c.Fill - 1 }, "23514"},
		"stage backwards":                 {func(c *store.Crop) { c.Stages[0].End = c.Stages[0].Start - 1 }, "23514"},
		"stage outside its window":        {func(c *store.Crop) { c.Stages[0].Latest = c.Stages[0].Start - 1 }, "23514"},
		"stage of no crop":                {func(c *store.Crop) { c.Stages[0].Kind = "sauna" }, "23514"},
		"stage twice":                     {func(c *store.Crop) { c.Stages[2].Kind = programme.PhaseI }, "23505"},
		"room not there":                  {func(c *store.Crop) { c.RoomID = "nowhere" }, "23503"},
		"programme version not there":     {func(c *store.Crop) { c.Programme.Version = 9 }, "23503"},
	} {
		err := in(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
			bad := crop()
			bad.ID = "bad"
			c.spoil(&bad)
			_, err := store.PutCrop(ctx, tx, coop.CoopID, 0, bad)
			return err
		})
		wantCode(t, what, err, c.code)
	}
}

func wantCode(t *testing.T, what string, err error, code string) {
	t.Helper()
	var refused *pgconn.PgError
	if !errors.As(err, &refused) || refused.Code != code {
		t.Errorf("%s: %v, want SQLSTATE %s", what, err, code)
	}
}
