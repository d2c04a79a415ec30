package server

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

const co2 = harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM

func measured(roomID string, kind harvestv1.ClimateKind, at time.Time, value int32) *harvestv1.ClimateReading {
	return &harvestv1.ClimateReading{RoomId: roomID, Kind: kind, Time: timestamppb.New(at), Value: value}
}

// inPick is a co-op whose room ab-1 crops by a programme that allows 1,000 ppm
// of carbon dioxide and 16 to 18 °C (ideal cropping air by Bowman 1989,
// Mushroom Science XII(1): 16 °C and 0.1 % carbon dioxide).
func inPick(t testing.TB, r *rig) identity.Identity {
	t.Helper()
	coop := r.settle(t)
	most, cold, warm := int64(1000), int64(160), int64(180)
	r.owners.ways = append(r.owners.ways, &schedulingv1.Programme{ProgrammeId: "white-shelves", Version: 1, Stages: []*schedulingv1.ProgrammeStage{
		{Kind: schedulingv1.StageKind_STAGE_KIND_CROPPING, Climate: &schedulingv1.Climate{Co2Ppm: &schedulingv1.Band{Most: &most}, AirTenthsC: &schedulingv1.Band{Least: &cold, Most: &warm}}},
	}})
	c := whiteCrop()
	c.ProgrammeId, c.ProgrammeVersion, c.Version = "white-shelves", 1, 4
	r.hear(t, coop, "scheduling", &schedulingv1.CropMoved{Crop: c})
	return coop
}

func (r *rig) climate(t testing.TB, who identity.Identity, list ...*harvestv1.ClimateReading) *harvestv1.RecordClimateResponse {
	t.Helper()
	resp, err := r.RecordClimate(testkit.Context(t, who), &harvestv1.RecordClimateRequest{Readings: list})
	if err != nil {
		t.Fatal(err)
	}
	return resp
}

func TestClimateAlertsClearThemselves(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := inPick(t, r)
	ida := grower(coop, "alder-brook")
	early := noon.Add(-6 * time.Hour)
	at := func(m int) time.Time { return early.Add(time.Duration(m) * time.Minute) }
	open := func() []*harvestv1.ClimateAlert {
		resp, err := r.ListClimateAlerts(testkit.Context(t, ida), &harvestv1.ListClimateAlertsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetAlerts()
	}
	first := r.climate(t, ida, measured("ab-1", co2, at(0), 900), measured("ab-1", co2, at(10), 1400), measured("ab-1", co2, at(20), 1200), measured("ab-2", co2, at(10), 9000))
	if first.GetTaken() != 4 || len(first.GetAlerts()) != 1 {
		t.Fatalf("%v: the oyster room has no limits", first)
	}
	if got := r.climate(t, ida, measured("ab-1", co2, at(10), 1400), measured("ab-1", co2, at(25), 1100)); got.GetTaken() != 1 || len(got.GetAlerts()) != 0 {
		t.Errorf("one of them known, and still outside: %v", got)
	}
	a := open()
	if len(a) != 1 || !a[0].GetSince().AsTime().Equal(at(10)) || a[0].GetWorstValue() != 1400 || a[0].GetLastValue() != 1100 || a[0].GetStep() != "cropping" ||
		a[0].GetLimit().GetMost() != 1000 || !strings.Contains(a[0].GetText(), "above the 1000 ppm") {
		t.Fatalf("open are %v", a)
	}
	cleared := r.climate(t, ida, measured("ab-1", co2, at(30), 1000))
	if len(open()) != 0 || len(cleared.GetAlerts()) != 1 || !cleared.GetAlerts()[0].GetClearedAt().AsTime().Equal(at(30)) {
		t.Errorf("at the limit again: %v", cleared)
	}
	if got := r.climate(t, ida, measured("ab-1", co2, at(15), 3000)); len(got.GetAlerts()) != 0 || len(open()) != 0 {
		t.Errorf("a reading that came late raises no alert of the past: %v", got)
	}
	if got := r.names(t, coop); len(got) != 2 || got[0] != "ClimateAlerted" {
		t.Errorf("told %q, want it raised and cleared", got)
	}
	trace, err := r.GetClimateTrace(testkit.Context(t, ida), &harvestv1.GetClimateTraceRequest{RoomId: "ab-1"})
	if err != nil || trace.GetDate() != "2026-11-25" || trace.GetStep() != "cropping" || len(trace.GetReadings()) != 6 || len(trace.GetLimits()) != 2 || len(trace.GetAlerts()) != 1 || len(trace.GetCautions()) == 0 {
		t.Errorf("the day: %v (%v)", trace, err)
	}
	for i := 1; i < len(trace.GetReadings()); i++ {
		if !trace.GetReadings()[i-1].GetTime().AsTime().Before(trace.GetReadings()[i].GetTime().AsTime()) {
			t.Errorf("reading %d does not follow the one before it", i)
		}
	}
	if other, err := r.GetClimateTrace(testkit.Context(t, ida), &harvestv1.GetClimateTraceRequest{RoomId: "ab-1", Date: "2026-11-24"}); err != nil || len(other.GetReadings())+len(other.GetAlerts()) != 0 {
		t.Errorf("the day before: %v (%v)", other, err)
	}
}

func TestClimateRefusesNamingTheField(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := inPick(t, r)
	good := measured("ab-1", co2, noon, 900)
	tests := []struct {
		name  string
		bad   *harvestv1.ClimateReading
		who   identity.Identity
		kind  fault.Kind
		field []string
	}{
		{"unknown room", measured("ab-9", co2, noon, 900), coop, fault.Invalid, []string{"readings[1].room_id"}},
		{"ahead of time", measured("ab-1", co2, noon.Add(time.Hour), 900), coop, fault.Invalid, []string{"readings[1].time"}},
		{"more than all", measured("ab-1", harvestv1.ClimateKind_CLIMATE_KIND_HUMIDITY_PERCENT, noon, 101), coop, fault.Invalid, []string{"readings[1].value"}},
		{"no kind", measured("ab-1", 0, noon, 101), coop, fault.Invalid, []string{"readings[1].kind"}},
		{"another's room", measured("he-1", co2, noon, 900), grower(coop, "alder-brook"), fault.Forbidden, nil},
	}
	for _, tt := range tests {
		_, err := r.RecordClimate(testkit.Context(t, tt.who), &harvestv1.RecordClimateRequest{Readings: []*harvestv1.ClimateReading{good, tt.bad}})
		refused(t, err, tt.kind, tt.field...)
	}
	if got := r.climate(t, coop, good); got.GetTaken() != 1 {
		t.Errorf("a refused message left something: %v", got)
	}
}

// Without an answer from scheduling nothing is lost, and it is asked again.
func TestClimateWithoutScheduling(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := inPick(t, r)
	r.owners.down.Store(true)
	asked := r.owners.asked.Load()
	for i := range 3 {
		if got := r.climate(t, coop, measured("ab-1", co2, noon.Add(time.Duration(i-60)*time.Minute), 3000)); got.GetTaken() != 1 || len(got.GetAlerts()) != 0 {
			t.Errorf("%v", got)
		}
	}
	if got := r.owners.asked.Load() - asked; got != 1 {
		t.Errorf("asked %d times", got)
	}
	r.owners.down.Store(false)
	r.clock.Advance(askAgain)
	if got := r.climate(t, coop, measured("ab-1", co2, noon, 3000)); len(got.GetAlerts()) != 1 {
		t.Errorf("with limits: %v", got)
	}
}

func TestClimateStream(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := inPick(t, r)
	stream, err := r.StreamClimate(testkit.Context(t, grower(coop, "alder-brook")))
	if err != nil {
		t.Fatal(err)
	}
	for m := range 5 {
		var list []*harvestv1.ClimateReading
		for i := range 10 {
			list = append(list, measured("ab-1", co2, noon.Add(time.Duration(m*10+i-60)*time.Minute), int32(980+m*10)))
		}
		if err := stream.Send(&harvestv1.StreamClimateRequest{Readings: list}); err != nil {
			t.Fatal(err)
		}
	}
	resp, err := stream.CloseAndRecv()
	if err != nil || resp.GetTaken() != 50 || resp.GetAlerts() != 1 {
		t.Errorf("%v (%v)", resp, err)
	}
}

// BenchmarkClimate takes readings of 20 rooms over gRPC and, in the same run,
// copies as many rows into a bare table; the ratio is rows per second of the one
// over the other.
func BenchmarkClimate(b *testing.B) {
	r := newRig(b)
	coop := inPick(b, r)
	const rooms, perMessage = 20, 10_000
	for i := range rooms {
		r.hear(b, coop, "scheduling", room(fmt.Sprintf("bench-%d", i), "alder-brook"))
	}
	message := func(n int) []*harvestv1.ClimateReading {
		list := make([]*harvestv1.ClimateReading, perMessage)
		for i := range list {
			at := noon.AddDate(0, 0, -60).Add(time.Duration(n*perMessage+i) * time.Second)
			list[i] = measured(fmt.Sprintf("bench-%d", i%rooms), co2, at, int32(400+i%2000))
		}
		return list
	}
	ctx := testkit.Context(b, coop)
	var taking, copying time.Duration
	n := 0
	for b.Loop() {
		list := message(n)
		n++
		start := time.Now()
		stream, err := r.StreamClimate(ctx)
		if err == nil {
			err = stream.Send(&harvestv1.StreamClimateRequest{Readings: list})
		}
		if err != nil {
			b.Fatal(err)
		}
		if resp, err := stream.CloseAndRecv(); err != nil || resp.GetTaken() != perMessage {
			b.Fatal(resp, err)
		}
		taking += time.Since(start)
		copying += copyRows(b, list, n == 1)
	}
	rows := float64(n * perMessage)
	b.ReportMetric(rows/taking.Seconds(), "readings/s")
	b.ReportMetric(rows/copying.Seconds(), "copied/s")
	b.ReportMetric(copying.Seconds()/taking.Seconds(), "ratio")
}
