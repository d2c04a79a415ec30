package importer

import (
	"context"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/suitetest"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/testkit"
)

// TestImport brings the demonstration co-op into a real suite, again and again.
func TestImport(t *testing.T) {
	t.Parallel()
	stack := suitetest.Start(t, clock.NewManual(afternoon))
	r := newRig(t, stack.Dial)
	dir := copyCoop(t)

	r.cutShort(dir)
	moved, err := r.run(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{"crops.csv", "readings.csv", "releases.csv", "deliveries.csv", "expected_picks.csv", "picks.csv", "climate.csv"} {
		if moved[file].New == 0 {
			t.Errorf("nothing of %s came in", file)
		}
	}
	if _, again := moved["farms.csv"]; again {
		t.Error("farms came in twice, before the import was cut short and after")
	}
	r.counts(dir)

	if moved, err := r.run(dir); err != nil || len(moved) > 0 {
		t.Errorf("imported again: %v, %v; want nothing to change", moved, err)
	}
	r.changes(dir)
	r.refusals(dir)
}

// cutShort ends an import after the orders' products: what was sent stays.
func (r *rig) cutShort(dir string) {
	r.t.Helper()
	files := read(r.t, dir)
	ctx, cancel := context.WithCancel(r.context(files))
	im := r.im
	im.Tell = func(o Outcome) {
		if o.File == "products.csv" {
			cancel()
		}
	}
	outcomes, err := im.Import(ctx, files)
	if err == nil || len(outcomes) != 5 {
		r.t.Errorf("cut short after five files: got %d files and error %v", len(outcomes), err)
	}
}

// counts looks into the services for what the files have.
func (r *rig) counts(dir string) {
	r.t.Helper()
	files := read(r.t, dir)
	ctx := r.context(files)
	rooms, err := r.im.Scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
	r.count("rooms", len(rooms.GetRooms()), len(files.Rooms), err)
	report, err := r.im.Compost.GetLotReport(ctx, &compostlotv1.GetLotReportRequest{LotId: files.Readings[0].LotID})
	readings := 0
	for _, reading := range files.Readings {
		if reading.LotID == files.Readings[0].LotID {
			readings++
		}
	}
	r.count("readings", int(report.GetReadings()), readings, err)
	orders, err := r.im.Order.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: "2026-11-26"})
	lines, wanted := 0, 0
	for _, o := range orders.GetOrders() {
		lines += len(o.GetLines())
	}
	for _, o := range files.Orders {
		if o.DeliveryDate == "2026-11-26" {
			wanted++
		}
	}
	r.count("order lines", lines, wanted, err)
	standing, err := r.im.Order.ListStandingOrders(ctx, &orderv1.ListStandingOrdersRequest{})
	lines = 0
	packs := int64(0)
	for _, o := range standing.GetStandingOrders() {
		lines += len(o.GetLines())
	}
	r.count("lines of standing orders", lines, len(files.StandingOrders), err)
	// 2026-11-27 is a Friday, the first day of standing orders: they are orders already, and no
	// day has orders of both kinds.
	friday, err := r.im.Order.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: "2026-11-27"})
	for _, o := range friday.GetOrders() {
		for _, l := range o.GetLines() {
			packs += l.GetPacks()
		}
	}
	for _, row := range files.StandingOrders {
		if slices.Contains(row.Weekdays, "friday") {
			packs -= row.Packs
		}
	}
	r.count("packs of standing orders without orders", int(packs), 0, err)
	r.needs(ctx)
	list, err := r.im.Harvest.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"})
	r.count("expected picks", len(list.GetExpectedPicks()), len(files.ExpectedPicks), err)
	r.climate(ctx, files)
}

// climate looks at the room whose air went stale: every reading is there, and its alert stands.
func (r *rig) climate(ctx context.Context, files *coopfiles.Folder) {
	r.t.Helper()
	const stale = "thistledown-1"
	trace, err := r.im.Harvest.GetClimateTrace(ctx, &harvestv1.GetClimateTraceRequest{RoomId: stale, Date: "2026-11-25"})
	wanted := 0
	for _, m := range files.Climate {
		if m.RoomID == stale {
			wanted++
		}
	}
	r.count("readings of a room", len(trace.GetReadings()), wanted, err)
	open := 0
	for _, a := range trace.GetAlerts() {
		if a.GetClearedAt() == nil && a.GetLimit().GetKind() == harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM {
			open++
		}
	}
	r.count("open alerts of carbon dioxide", open, 1, err)
}

// needs sees that order hears of every crop that scheduling has: their spawn and casing are needed
// until they are spawned and cased.
func (r *rig) needs(ctx context.Context) {
	r.t.Helper()
	const from, until = "2026-11-25", "2027-06-30"
	calendar, err := r.im.Scheduling.GetCalendar(ctx, &schedulingv1.GetCalendarRequest{FromDate: from, ToDate: until})
	if err != nil {
		r.t.Fatal(err)
	}
	wanted := make(map[orderv1.NeedKind]int64)
	for _, c := range calendar.GetCrops() {
		begun := false
		for _, s := range slices.Backward(c.GetStages()) {
			begun = begun || s.ActualStartDate != nil
			if begun || s.GetStartDate() < from {
				continue
			}
			switch s.GetKind() {
			case schedulingv1.StageKind_STAGE_KIND_SPAWNING:
				wanted[orderv1.NeedKind_NEED_KIND_SPAWN] += c.GetSpawnGrams()
			case schedulingv1.StageKind_STAGE_KIND_CASING:
				wanted[orderv1.NeedKind_NEED_KIND_CASING] += c.GetCasingGrams()
			}
		}
	}
	if len(wanted) != 2 {
		r.t.Errorf("the crops of the files need %v, want some spawn and some casing", wanted)
	}
	testkit.Eventually(r.t, "order to hear of the crops", func() bool {
		needed := make(map[orderv1.NeedKind]int64)
		list, err := r.im.Order.ListSpawnNeeds(ctx, &orderv1.ListSpawnNeedsRequest{FromDate: from, UntilDate: until, Pooled: true})
		for _, n := range list.GetNeeds() {
			needed[n.GetKind()] += n.GetGrams()
		}
		return err == nil && maps.Equal(wanted, needed)
	})
}

func (r *rig) count(what string, got, want int, err error) {
	r.t.Helper()
	if err != nil || got != want {
		r.t.Errorf("%s: got %d, %v; want %d", what, got, err, want)
	}
}

// changes imports changed rows, which replace what the suite has and nothing else.
func (r *rig) changes(dir string) {
	r.t.Helper()
	edit(r.t, dir, "farms.csv", "Thistledown Farm,Nether Wick,140", "Thistledown Farm,Nether Wick,150")
	edit(r.t, dir, "customers.csv", "The Weighbridge,Corran Cross,3", "The Weighbridge,Corran Cross,2")
	edit(r.t, dir, "orders.csv", "2026-11-26,white-closed-250g,", "2026-11-26,white-closed-250g,1")
	edit(r.t, dir, "wishes.csv", "nonna-pia,quay,2,", "nonna-pia,quay,3,")
	edit(r.t, dir, "substitutes.csv", "ember-street,brown-veiled-1500g,brown-open-2kg,200", "ember-street,brown-veiled-1500g,brown-open-2kg,210")
	edit(r.t, dir, "match_settings.csv", ",50,", ",40,")
	edit(r.t, dir, "promise_costs.csv", ",430,470", ",440,470")
	edit(r.t, dir, "zone_costs.csv", "otterbank,quay,9", "otterbank,quay,8")
	edit(r.t, dir, "standing_orders.csv", "oyster-1kg,monday+wednesday+friday,", "oyster-1kg,monday+friday,")
	edit(r.t, dir, "ordering.csv", "16:00", "15:30")
	moved, err := r.run(dir)
	if err != nil {
		r.t.Fatal(err)
	}
	want := map[string]Outcome{
		"farms.csv":           {File: "farms.csv", Changed: 1, Same: 5},
		"customers.csv":       {File: "customers.csv", Changed: 1, Same: 25},
		"orders.csv":          {File: "orders.csv", Changed: 1, Same: moved["orders.csv"].Same},
		"ordering.csv":        {File: "ordering.csv", Changed: 1},
		"wishes.csv":          {File: "wishes.csv", Changed: 1, Same: 10},
		"substitutes.csv":     {File: "substitutes.csv", Changed: 1, Same: 7},
		"match_settings.csv":  {File: "match_settings.csv", Changed: 1},
		"promise_costs.csv":   {File: "promise_costs.csv", Changed: 1},
		"zone_costs.csv":      {File: "zone_costs.csv", Changed: 1},
		"standing_orders.csv": {File: "standing_orders.csv", Changed: 1, Same: 12},
	}
	if diff := cmp.Diff(want, moved); diff != "" {
		r.t.Errorf("changed rows (-want +got):\n%s", diff)
	}
	r.wishes(dir)
	farms, err := r.im.Scheduling.ListFarms(r.context(read(r.t, dir)), &schedulingv1.ListFarmsRequest{})
	if err != nil {
		r.t.Fatal(err)
	}
	for _, f := range farms.GetFarms() {
		if f.GetFarmId() == "thistledown" && f.GetMemberShares() != 150 {
			r.t.Errorf("thistledown has %d shares, want 150", f.GetMemberShares())
		}
	}
}

// wishes looks into the suite for what the files say of kitchens, and imports orders by a file that
// does not tell the fewest packs of use: they stay.
func (r *rig) wishes(dir string) {
	r.t.Helper()
	ctx := r.context(read(r.t, dir))
	list, err := r.im.Order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
	if err != nil {
		r.t.Fatal(err)
	}
	for _, c := range list.GetCustomers() {
		if c.GetCustomerId() == "nonna-pia" && (c.GetShareWeight() != 3 || !c.GetOneFarm() || c.GetZoneId() != "quay" || len(c.GetSubstitutes()) != 1) {
			r.t.Errorf("Nonna Pia's wishes are %v", c)
		}
	}
	without := r.t.TempDir()
	copyInto(r.t, without, dir)
	rows, err := os.ReadFile(filepath.Join(without, "orders.csv"))
	if err != nil {
		r.t.Fatal(err)
	}
	var short strings.Builder
	for line := range strings.Lines(string(rows)) {
		short.WriteString(line[:strings.LastIndex(line, ",")] + "\n")
	}
	if err := os.WriteFile(filepath.Join(without, "orders.csv"), []byte(short.String()), 0o600); err != nil {
		r.t.Fatal(err)
	}
	if moved, err := r.run(without); err != nil || len(moved) > 0 {
		r.t.Errorf("orders without the fewest packs of use: %v, %v; want nothing to change", moved, err)
	}
}

// refusals imports rows that cannot be taken, by the importer's own judgement or a
// service's, and wants the place in the file.
func (r *rig) refusals(dir string) {
	r.t.Helper()
	for _, test := range []struct{ file, row, column, text string }{
		{"standing_orders.csv", "the-weighbridge-weekly,the-weighbridge,white-closed-250g,monday,9,,2026-11-27,,\nthe-weighbridge-more,the-weighbridge,white-closed-250g,monday+sunday,9,,2026-11-27,,", "weekdays", "has white-closed-250g on one of these days too"},
		{"wishes.csv", "saffron-lane,,,nowhere,,,,,", "excluded_farm_ids", `unknown farm "nowhere"`},
		{"substitutes.csv", "saffron-lane,oyster-1kg,oyster-9kg,5", "instead_product_id", `no product "oyster-9kg"`},
		{"promise_costs.csv", "oyster-9kg,5,5", "product_id", `unknown product_id "oyster-9kg"`},
		{"expected_picks.csv", "thistledown-1,brown-closed-1500g,2026-11-27,1000,2000,3000", "product_id", "white mushroom"},
		{"expected_picks.csv", "thistledown-9,white-closed-1500g,2026-11-27,1000,2000,3000", "room_id", `unknown room_id "thistledown-9"`},
		{"crops.csv", "late,thistledown-1,white-bulk-2,2026-11-27,", "fill_date", "thistledown-1-20261019"},
		{"crops.csv", "odd,thistledown-1,no-such-way,2027-06-01,", "programme_id", `unknown programme_id "no-such-way"`},
		{"picks.csv", "windlestraw-1,white-veiled-1500g,2026-11-25,9000,400,1,,", "gross_grams", "record what is missing by itself"},
		{"deliveries.csv", "stonepit-26-49a,thistledown,thistledown-5,,500,2026-11-25T10:00:00Z", "lot_id", "not released"},
	} {
		changed := r.t.TempDir()
		copyInto(r.t, changed, dir)
		// The suite has the many readings already, and these rows have nothing to do with them.
		for _, file := range []string{"readings.csv", "climate.csv"} {
			if err := os.Remove(filepath.Join(changed, file)); err != nil {
				r.t.Fatal(err)
			}
		}
		appendTo(r.t, changed, test.file, test.row)
		_, err := r.run(changed)
		got := problems(r.t, err)[0]
		if got.File != test.file || got.Column != test.column || !strings.Contains(got.Text, test.text) || got.Line < 2 {
			r.t.Errorf("%s with %s: got %q, want column %s and %q", test.file, test.row, got, test.column, test.text)
		}
	}
}

func TestConnectTellsWhatCannotBeReached(t *testing.T) {
	t.Parallel()
	_, err := Connect(func(string) (*grpc.ClientConn, error) { return nil, context.Canceled })
	if err == nil {
		t.Error("got no error")
	}
}
