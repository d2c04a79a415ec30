package server

import (
	"fmt"
	"math"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func (r *rig) pick(t testing.TB, who identity.Identity, roomID, productID, date string, grams int64) {
	t.Helper()
	_, err := r.RecordPick(testkit.Context(t, who), &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: &harvestv1.Pick{
		RoomId: roomID, ProductId: productID, Date: date, GrossGrams: grams + 1000, TareGrams: 1000, Crates: 1,
	}})
	if err != nil {
		t.Fatal(err)
	}
}

func TestForecastOfACropLearnsFromItsPicks(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.hear(t, coop, "order", staged("white-closed-1kg", typev1.PickStage_PICK_STAGE_CLOSED), staged("white-open-1kg", typev1.PickStage_PICK_STAGE_OPEN))
	twin := whiteCrop()
	twin.CropId, twin.RoomId = "ab-3-20261001", "ab-3"
	r.hear(t, coop, "scheduling", room("ab-3", "alder-brook"), &schedulingv1.CropPlanned{Crop: twin})
	ctx := testkit.Context(t, grower(coop, "alder-brook"))
	get := func() *harvestv1.ForecastCropResponse {
		t.Helper()
		f, err := r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "ab-1-20261001"})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	before := get()
	if len(before.GetDays()) != 28 || before.GetDays()[0].GetDate() != "2026-11-26" || before.GetPickedDays() != 0 {
		t.Fatalf("28 days from tomorrow on: %v", before)
	}
	for _, d := range before.GetDays() {
		f, parts := d.GetFan(), int64(0)
		for _, p := range d.GetProducts() {
			parts += p.GetGrams()
		}
		if f.GetLowGrams() > f.GetLikelyGrams() || f.GetLikelyGrams() > f.GetHighGrams() || parts != f.GetLikelyGrams() {
			t.Errorf("%v: parts add up to %d", d, parts)
		}
	}
	// A poor first break, mostly open, in one room, and a good one, filled and
	// cased on the same days, in the other.
	for i, grams := range []int64{300_000, 600_000, 400_000, 200_000} {
		date := day.On(2026, time.November, 8+i).String()
		r.pick(t, coop, "ab-1", "white-open-1kg", date, grams/2)
		r.pick(t, coop, "ab-1", "white-closed-1kg", date, grams/20)
		r.pick(t, coop, "ab-3", "white-open-1kg", date, grams*3/2)
	}
	after := get()
	total := func(f *harvestv1.ForecastCropResponse) (sum int64) {
		for _, d := range f.GetDays() {
			sum += d.GetMeanGrams()
		}
		return sum
	}
	rich, err := r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "ab-3-20261001"})
	if err != nil {
		t.Fatal(err)
	}
	if after.GetPickedDays() != 4 || total(after) >= total(rich)*3/4 {
		t.Errorf("after a poor break %d g are to come, after a good one %d", total(after), total(rich))
	}
	if before.GetStages()[0].GetPerMille() != 700 || after.GetStages()[0].GetPerMille() >= 600 {
		t.Errorf("closed picks: %v before, %v after", before.GetStages(), after.GetStages())
	}
	if len(after.GetBreaks()) == 0 || after.GetBreaks()[len(after.GetBreaks())-1].GetNumber() != 3 {
		t.Errorf("breaks %v, want the third as the last", after.GetBreaks())
	}
	if again := get(); !proto.Equal(again, after) {
		t.Error("the same question twice has two answers")
	}
	_, err = r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "he-1-20261005"})
	refused(t, err, fault.Forbidden)
	_, err = r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "ab-2-20261020"})
	refused(t, err, fault.Precondition)
	_, err = r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "nothing"})
	refused(t, err, fault.NotFound)
}

// A stage that began late shifts what is to come, as soon as scheduling tells.
func TestForecastFollowsTheCalendar(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	first := func() string {
		f, err := r.ForecastCrop(testkit.Context(t, coop), &harvestv1.ForecastCropRequest{CropId: "ab-1-20261001", FromDate: "2026-10-30"})
		if err != nil {
			t.Fatal(err)
		}
		return f.GetBreaks()[0].GetFirstDate()
	}
	early := first()
	late := grown(whiteCrop(), "2026-10-28")
	late.Version = 9
	r.hear(t, coop, "scheduling", &schedulingv1.CropStageReached{Crop: late, Kind: schedulingv1.StageKind_STAGE_KIND_CASING})
	if got := first(); got <= early {
		t.Errorf("cased a week later, the first break begins on %s, before on %s", got, early)
	}
}

func TestSupplyForecastAddsUp(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	get := func(who identity.Identity) *harvestv1.ForecastSupplyResponse {
		f, err := r.ForecastSupply(testkit.Context(t, who), &harvestv1.ForecastSupplyRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	all, own := get(coop), get(grower(coop, "alder-brook"))
	if len(all.GetDays()) != 28 || len(own.GetDays()) != 28 {
		t.Fatalf("%d and %d days", len(all.GetDays()), len(own.GetDays()))
	}
	if len(all.GetNotForecast()) != 1 || all.GetNotForecast()[0].GetCropId() != "ab-2-20261020" {
		t.Errorf("not forecast: %v, want the oyster crop without a profile", all.GetNotForecast())
	}
	var total, mine, products int64
	for i := range all.GetDays() {
		total += all.GetDays()[i].GetMeanGrams()
		mine += own.GetDays()[i].GetMeanGrams()
	}
	for _, p := range all.GetProducts() {
		products += p.GetMeanGrams()
	}
	// Both rooms together bear at most 400 m² × 30 kg.
	if mine <= 0 || mine >= total || total > 12_000_000 {
		t.Errorf("mean of 28 days: %d g, of Alder Brook %d g", total, mine)
	}
	// Each room's mean is rounded to a gram each day.
	if math.Abs(float64(products-total)) > 2*28 {
		t.Errorf("products add up to %d g of %d", products, total)
	}
}

// Whoever has not pushed is stood in for; a push takes the place of a stand-in
// at any time, and is never taken back by closing again.
func TestForecastStandsIn(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 90000, 100000, 110000))
	closeDay := func() *harvestv1.CloseDayResponse {
		t.Helper()
		resp, err := r.CloseDay(ctx, &harvestv1.CloseDayRequest{RequestId: ids.New(), Date: "2026-11-26"})
		if err != nil {
			t.Fatal(err)
		}
		return resp
	}
	resp := closeDay()
	if resp.GetStandIns() != 1 || len(resp.GetOutlooks()) != 2 {
		t.Fatalf("%v, want ab-1 as pushed and he-1 stood in for", resp)
	}
	pushed, stood := resp.GetOutlooks()[0], resp.GetOutlooks()[1]
	if pushed.GetSaid().GetLikelyGrams() != 100000 || pushed.GetModel() == nil || pushed.GetSaidCorrected() == nil || pushed.GetPushPerMille() <= 0 || pushed.GetClosedAt() == nil {
		t.Errorf("said, corrected, modelled and used stand side by side: %v", pushed)
	}
	if stood.GetRoomId() != "he-1" || stood.GetSaid() != nil || !proto.Equal(stood.GetModel(), stood.GetUsed()) || stood.GetPushPerMille() != 0 {
		t.Errorf("a forecast that stands in: %v", stood)
	}
	newest := func() *harvestv1.ExpectedPick {
		var e *harvestv1.ExpectedPick
		for _, m := range r.told(t, coop) {
			if p, ok := m.(*harvestv1.ExpectedPickPushed); ok && p.GetExpectedPick().GetRoomId() == "he-1" {
				e = p.GetExpectedPick()
			}
		}
		return e
	}
	const forecast, byHand = harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST, harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_GROWER
	if e := newest(); e.GetSource() != forecast || e.GetVersion() != 1 || e.GetLikelyGrams() != stood.GetUsed().GetLikelyGrams() || e.GetPickLotId() != "he-1-white-2kg-20261126" {
		t.Errorf("told of the stand-in as %v", e)
	}
	told := len(r.told(t, coop))
	closeDay()
	if got := len(r.told(t, coop)); got != told {
		t.Errorf("closed again with nothing new, %d events more", got-told)
	}
	// Even the very figures of the stand-in are a push of their own.
	e := newest()
	r.push(t, grower(coop, "hill-end"), expect("he-1", "white-2kg", "2026-11-26", e.GetLowGrams(), e.GetLikelyGrams(), e.GetHighGrams()))
	if e := newest(); e.GetSource() != byHand || e.GetVersion() != 2 {
		t.Errorf("a push after the stand-in: %v", e)
	}
	if again := closeDay(); again.GetStandIns() != 0 || newest().GetVersion() != 2 {
		t.Errorf("closing took back a push: %v", again)
	}
	list, err := r.ListOutlooks(testkit.Context(t, grower(coop, "hill-end")), &harvestv1.ListOutlooksRequest{FromDate: "2026-11-26", ToDate: "2026-11-27"})
	if err != nil || len(list.GetOutlooks()) != 2 || list.GetOutlooks()[0].GetSaid() == nil || list.GetOutlooks()[1].GetSaid() != nil {
		t.Errorf("Hill End's two days: %v (%v)", list, err)
	}
}

// The service closes tomorrow by itself once the cut-off has passed, once.
func TestDaysCloseByThemselves(t *testing.T) {
	t.Parallel()
	r := newRigOn(t, testkit.Pool(t, store.Schema())) // the clock closes the days of all co-ops
	coop := r.settle(t)
	r.hear(t, coop, "scheduling", &schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Europe/Dublin", CurrencyCode: "EUR"}, Version: 1})
	run := func(want int) {
		t.Helper()
		if n, err := r.harvest.CloseDue(t.Context()); err != nil || n != want {
			t.Errorf("at %s closed %d (%v), want %d", r.clock.Now(), n, err, want)
		}
	}
	run(0) // 12:00
	r.clock.Set(time.Date(2026, time.November, 25, 16, 0, 1, 0, time.UTC))
	run(1)
	run(0)
	if got := r.names(t, coop); len(got) != 2 || got[0] != "ExpectedPickPushed" {
		t.Errorf("told %q, want a stand-in for each white room", got)
	}
	r.clock.Advance(24 * time.Hour)
	run(1)
}

func TestScores(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	// Alder Brook says 10 kg too much every day, Hill End is right.
	for d := 8; d < 25; d++ {
		date := fmt.Sprintf("2026-11-%02d", d)
		actual := int64(60000 + 4000*(d%3))
		r.push(t, coop, expect("ab-1", "white-2kg", date, actual+5000, actual+10000, actual+15000), expect("he-1", "white-2kg", date, actual-5000, actual, actual+5000))
		if d >= 12 {
			if _, err := r.CloseDay(testkit.Context(t, coop), &harvestv1.CloseDayRequest{RequestId: ids.New(), Date: date}); err != nil {
				t.Fatal(err)
			}
		}
		r.pick(t, coop, "ab-1", "white-2kg", date, actual)
		r.pick(t, coop, "he-1", "white-2kg", date, actual)
	}
	get := func(req *harvestv1.GetScoresRequest, who identity.Identity) *harvestv1.GetScoresResponse {
		t.Helper()
		s, err := r.GetScores(testkit.Context(t, who), req)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	s := get(&harvestv1.GetScoresRequest{}, coop)
	if s.GetAsOfDate() != "2026-11-24" || len(s.GetParts()) != 6 {
		t.Fatalf("two farms with a room and a product each: %v", s)
	}
	boast, honest := s.GetParts()[0].GetGrower(), s.GetParts()[3].GetGrower()
	for i, n := range []int32{7, 17, 17} {
		c := boast.GetCards()[i]
		if c.GetFigures() != n || c.GetBiasGrams() != 10000 || c.GetMaeGrams() != 10000 || c.GetCoverage() != 0 {
			t.Errorf("Alder Brook over %d days: %v", c.GetDays(), c)
		}
		// Of three quantiles 5, 10 and 15 kg too high: (0.9 × 5 + 0.5 × 10 + 0.1 × 15)/3 kg.
		if got := c.GetPinballGrams(); math.Abs(got-11000.0/3) > 0.01 {
			t.Errorf("pinball loss %v", got)
		}
		if c := honest.GetCards()[i]; c.GetBiasGrams() != 0 || c.GetMase() != 0 || c.GetCoverage() != 1 {
			t.Errorf("Hill End over %d days: %v", c.GetDays(), c)
		}
	}
	all := s.GetAll()
	if all.GetModel().GetCards()[1].GetFigures() != 26 || all.GetUsed().GetCards()[1].GetFigures() != 26 || all.GetNaive().GetCards()[1].GetFigures() != 18 || all.GetNaive().GetCards()[1].Coverage != nil {
		t.Errorf("model, used and naive over 28 days: %v", all)
	}
	if used, said := all.GetUsed().GetCards()[1].GetMaeGrams(), all.GetGrower().GetCards()[1].GetMaeGrams(); used <= 0 || said != 5000 {
		t.Errorf("errors: used %v, said %v", used, said)
	}
	if rel := honest.GetReliability(); len(rel) != 3 || rel[0].GetObserved() != 0 || rel[1].GetObserved() != 1 || rel[2].GetFigures() != 17 {
		t.Errorf("reliability %v", rel)
	}
	own := get(&harvestv1.GetScoresRequest{AsOfDate: "2026-11-20"}, grower(coop, "hill-end"))
	if len(own.GetParts()) != 3 || own.GetAll().GetGrower().GetCards()[2].GetFigures() != 13 {
		t.Errorf("Hill End by itself: %v", own)
	}
	if one := get(&harvestv1.GetScoresRequest{RoomId: "ab-1", ProductId: "nothing"}, coop); len(one.GetParts()) != 0 || one.GetAll().GetGrower().GetCards()[0].GetFigures() != 0 {
		t.Errorf("of a product nobody picks: %v", one)
	}
}

// What is used of a day is the same whichever span it was asked for with.
func TestOutlookDoesNotDependOnWhoAsks(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-27", 90_000, 100_000, 110_000))
	var first *harvestv1.Outlook
	for _, span := range [][2]string{{"2026-11-27", "2026-11-27"}, {"2026-11-26", "2026-11-30"}, {"2026-11-20", "2026-12-18"}} {
		list, err := r.ListOutlooks(testkit.Context(t, coop), &harvestv1.ListOutlooksRequest{FromDate: span[0], ToDate: span[1]})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range list.GetOutlooks() {
			if o.GetPickLotId() != "ab-1-white-2kg-20261127" {
				continue
			}
			if first == nil {
				first = o
			}
			if !proto.Equal(o, first) {
				t.Errorf("from %s to %s: %v, and before %v", span[0], span[1], o, first)
			}
		}
	}
	if first == nil {
		t.Error("no outlook of what was pushed")
	}
}
