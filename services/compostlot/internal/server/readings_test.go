package server_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/testing/protocmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func stored(n, known int64) *compostlotv1.RecordReadingsResponse {
	return &compostlotv1.RecordReadingsResponse{Stored: n, AlreadyKnown: known}
}

func TestReadingsOnceWhateverComesTwice(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	from := noon.Add(-20 * time.Hour) // over midnight
	all := readings("quarry-7", "p1", celsius(50), from, 1200)
	id := ids.New()
	for _, c := range []struct {
		name      string
		requestID string
		most      int
		send      []*compostlotv1.Reading
		want      *compostlotv1.RecordReadingsResponse
	}{
		{"a part", ids.New(), 100, all[300:700], stored(400, 0)},
		{"the whole", id, 5000, all, stored(800, 400)},
		{"the same stream again, cut otherwise", id, 77, all, stored(800, 400)},
		{"the same readings as another request", ids.New(), 5000, all, stored(0, 1200)},
		{"one of them twice in a stream", ids.New(), 5000, append(readings("quarry-7", "p2", celsius(50), from, 3), readings("quarry-7", "p2", celsius(50), from, 3)...), stored(3, 3)},
	} {
		got, err := r.recordAs(r.office(t), c.requestID, c.most, c.send)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if diff := cmp.Diff(c.want, got, protocmp.Transform()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
	_, err := r.recordAs(r.office(t), id, 5000, all[:5])
	refused(t, err, fault.Exists, "REQUEST_ID_REUSED", "")
	report := r.reportOf(t, "quarry-7")
	if report.GetReadings() != 1203 || len(report.GetProbes()) != 2 || !report.GetProbes()[0].GetFirstAt().AsTime().Equal(from) {
		t.Errorf("report %v", report)
	}
}

func TestReadingsRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	must[*compostlotv1.RecordReadingsResponse](t)(r.record(r.office(t), readings("quarry-7", "p1", celsius(50), noon, 10)))
	next := func() []*compostlotv1.Reading {
		return readings("quarry-7", "p1", celsius(50), noon, 20)
	}
	change := func(i int, f func(*compostlotv1.Reading)) []*compostlotv1.Reading {
		all := next()
		f(all[i])
		return all
	}
	for name, c := range map[string]struct {
		send   []*compostlotv1.Reading
		kind   fault.Kind
		reason string
		field  string
	}{
		"known with another value": {change(7, func(m *compostlotv1.Reading) { m.ValueThousandths++ }), fault.Exists, "READING_DIFFERS", "readings[7].value_thousandths"},
		"twice, differing":         {append(next(), change(15, func(m *compostlotv1.Reading) { m.ValueThousandths++ })[15]), fault.Exists, "READING_DIFFERS", "readings[20].value_thousandths"},
		"unknown lot":              {change(11, func(m *compostlotv1.Reading) { m.LotId = "none" }), fault.NotFound, "UNKNOWN_LOT", "readings[11].lot_id"},
		"half a second":            {change(12, func(m *compostlotv1.Reading) { m.Time.Nanos = 5e8 }), fault.Invalid, "", "readings[12].time"},
		"no instant":               {change(12, func(m *compostlotv1.Reading) { m.Time.Seconds = 1 << 60 }), fault.Invalid, "", "readings[12].time"},
		"before 1970":              {change(12, func(m *compostlotv1.Reading) { m.Time.Seconds = -1 }), fault.Invalid, "", "readings[12].time"},
		"absurd value":             {change(3, func(m *compostlotv1.Reading) { m.ValueThousandths = 2e9 }), fault.Invalid, "", "readings[3].value_thousandths"},
		"unknown kind":             {change(3, func(m *compostlotv1.Reading) { m.Kind = 99 }), fault.Invalid, "", "readings[3].kind"},
		"nothing at all":           {nil, fault.Invalid, "", "readings"},
		"more than may come":       {readings("quarry-7", "p3", celsius(50), noon, mostReadings+1), fault.Exhausted, "TOO_MANY_READINGS", ""},
	} {
		// One message, so that a place in the stream is a place in the message too.
		_, err := r.recordAs(r.office(t), ids.New(), 10_000, c.send)
		t.Run(name, func(t *testing.T) { refused(t, err, c.kind, c.reason, c.field) })
	}
	if got := r.reportOf(t, "quarry-7").GetReadings(); got != 10 {
		t.Errorf("after refusals %d readings are stored, want 10", got)
	}
}

// A stream that is cut short leaves nothing, and can be sent again.
func TestStreamCutShort(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	all := readings("quarry-7", "p1", celsius(50), noon, 3000)
	id := ids.New()
	ctx, cut := context.WithCancel(r.office(t))
	stream := must[interface {
		Send(*compostlotv1.RecordReadingsRequest) error
		CloseAndRecv() (*compostlotv1.RecordReadingsResponse, error)
	}](t)(r.RecordReadings(ctx))
	for part := all; len(part) > 1000; part = part[1000:] {
		if err := stream.Send(&compostlotv1.RecordReadingsRequest{RequestId: id, Readings: part[:1000]}); err != nil {
			t.Fatal(err)
		}
	}
	cut()
	if _, err := stream.CloseAndRecv(); fault.KindOf(fault.FromStatus(err)) != fault.Cancelled {
		t.Errorf("a stream that was cut ends with %v", err)
	}
	if got := r.reportOf(t, "quarry-7").GetReadings(); got != 0 {
		t.Errorf("%d readings of it are stored", got)
	}
	got := must[*compostlotv1.RecordReadingsResponse](t)(r.recordAs(r.office(t), id, 1000, all))
	if got.GetStored() != 3000 {
		t.Errorf("sent again %v", got)
	}
}

// Loggers that send the same days at once, in any order, make one log.
func TestManyStreamsAtOnce(t *testing.T) {
	t.Parallel()
	r := newRigAlone(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	all := readings("quarry-7", "p1", celsius(50), noon, 4000)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			part := all[i*400 : i*400+1200] // each overlaps the next
			if _, err := r.record(r.office(t), part); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if got := r.reportOf(t, "quarry-7").GetReadings(); got != 4000 {
		t.Errorf("%d readings, want 4000", got)
	}
}

// TestTenDaysOfReadings is two probes by the minute.
func TestTenDaysOfReadings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	var all []*compostlotv1.Reading
	for p := range 2 {
		all = append(all, readings("quarry-7", fmt.Sprintf("p%d", p), celsius(48), noon.AddDate(0, 0, -10), 10*24*60)...)
	}
	start := time.Now()
	got := must[*compostlotv1.RecordReadingsResponse](t)(r.record(r.office(t), all))
	took := time.Since(start)
	start = time.Now()
	report := r.reportOf(t, "quarry-7")
	t.Logf("%d readings stored in %v, reported in %v", got.GetStored(), took, time.Since(start))
	if got.GetStored() != 28_800 || report.GetReadings() != 28_800 {
		t.Errorf("stored %v, reported %d", got, report.GetReadings())
	}
}

// BenchmarkReadings compares a stream of 20 probes over a day by the minute, through gRPC to
// the commit, with a bare COPY of the same rows into a table of one row a reading.
func BenchmarkReadings(b *testing.B) {
	r := newRigAlone(b)
	r.yards(b)
	var lots []*compostlotv1.Lot
	for i := range 400 {
		lots = append(lots, phaseTwo(fmt.Sprintf("lot-%d", i), 1000))
	}
	r.open(b, lots...)
	const probes, minutes = 20, 24 * 60
	b.Run("stream", func(b *testing.B) {
		n := 0
		for b.Loop() {
			b.StopTimer()
			var all []*compostlotv1.Reading
			for p := range probes {
				all = append(all, readings(fmt.Sprintf("lot-%d", n%len(lots)), fmt.Sprintf("p%d", p), celsius(48), noon.AddDate(0, 0, n/len(lots)), minutes)...)
			}
			n++
			b.StartTimer()
			if _, err := r.record(r.office(b), all); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(n*probes*minutes)/b.Elapsed().Seconds(), "readings/s")
	})
	b.Run("copy", func(b *testing.B) {
		pool := testkit.Open(b, testkit.Postgres(b))
		if _, err := pool.Exec(b.Context(), `CREATE TABLE reading (lot text, probe text, kind smallint, time timestamptz, value integer, PRIMARY KEY (lot, probe, kind, time))`); err != nil {
			b.Fatal(err)
		}
		n := 0
		for b.Loop() {
			b.StopTimer()
			var rows [][]any
			for p := range probes {
				for _, m := range readings(fmt.Sprintf("lot-%d", n), fmt.Sprintf("p%d", p), celsius(48), noon, minutes) {
					rows = append(rows, []any{m.GetLotId(), m.GetProbeId(), int16(m.GetKind()), m.GetTime().AsTime(), int32(m.GetValueThousandths())})
				}
			}
			n++
			b.StartTimer()
			if _, err := pool.CopyFrom(b.Context(), []string{"reading"}, []string{"lot", "probe", "kind", "time", "value"}, pgx.CopyFromRows(rows)); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(n*probes*minutes)/b.Elapsed().Seconds(), "readings/s")
	})
}
