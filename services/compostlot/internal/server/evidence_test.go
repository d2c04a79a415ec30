package server_test

import (
	"context"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/ids"
)

// log is what one probe measures, minute by minute.
type log struct {
	kind  compostlotv1.ReadingKind
	value func(minute int) int64
}

// celsius is a compost temperature around a value, in degrees; live probes waver.
func celsius(degrees int64) log {
	return log{compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, func(m int) int64 { return degrees*1000 + int64(m%7) }}
}

// readings are n readings of a probe by the minute.
func readings(lot, probe string, l log, from time.Time, n int) []*compostlotv1.Reading {
	return readingsEvery(1, lot, probe, l, from, n)
}

// readingsEvery are n readings of a probe, some minutes apart.
func readingsEvery(minutes int, lot, probe string, l log, from time.Time, n int) []*compostlotv1.Reading {
	out := make([]*compostlotv1.Reading, n)
	for i := range out {
		out[i] = &compostlotv1.Reading{
			LotId: lot, ProbeId: probe, Kind: l.kind, Time: timestamppb.New(from.Add(time.Duration(i*minutes) * time.Minute)), ValueThousandths: l.value(i * minutes),
		}
	}
	return out
}

// record sends readings as one stream, in messages of at most 5,000.
func (r *rig) record(ctx context.Context, all []*compostlotv1.Reading) (*compostlotv1.RecordReadingsResponse, error) {
	return r.recordAs(ctx, ids.New(), 5000, all)
}

func (r *rig) recordAs(ctx context.Context, requestID string, most int, all []*compostlotv1.Reading) (*compostlotv1.RecordReadingsResponse, error) {
	stream, err := r.RecordReadings(ctx)
	if err != nil {
		return nil, err
	}
	for len(all) > 0 {
		n := min(most, len(all))
		// A server that refuses ends the stream early; CloseAndRecv tells why.
		if err := stream.Send(&compostlotv1.RecordReadingsRequest{RequestId: requestID, Readings: all[:n]}); err != nil {
			break
		}
		all = all[n:]
	}
	return stream.CloseAndRecv()
}

// made is the making of a sound phase II lot: its marks, and the logs of its probes every
// five minutes from filling until now. The temperatures follow Penn State (at least 60 °C for 2 h,
// compost and air) and Zhang et al. 2019 (45 to 50 °C for 4 days and more, then to 25 °C).
type made struct {
	marks    []*compostlotv1.MarkedPhase
	readings []*compostlotv1.Reading
}

const (
	heating      = 10 * 60     // minutes until 60 °C
	pasteurising = 3 * 60      // minutes above 60 °C
	conditioning = 5 * 24 * 60 // minutes within 45 to 50 °C
	cooling      = 24 * 60     // minutes down to 25 °C
	cooled       = 8 * 60      // minutes since
	whole        = heating + pasteurising + conditioning + cooling + cooled
)

func temperature(minute int) int64 {
	waver := int64(minute % 7 * 10)
	switch {
	case minute < heating:
		return 40_000 + int64(minute)*30 + waver
	case minute < heating+pasteurising:
		return 60_200 + waver
	case minute < heating+pasteurising+conditioning:
		return 47_000 + waver
	case minute < heating+pasteurising+conditioning+cooling:
		return 47_000 - int64(minute-heating-pasteurising-conditioning)*15 + waver
	default:
		return 25_000 + waver
	}
}

func soundLot(lot string, until time.Time) made {
	filled := until.Add(-whole * time.Minute)
	at := func(minute int) *timestamppb.Timestamp {
		return timestamppb.New(filled.Add(time.Duration(minute) * time.Minute))
	}
	var out made
	minute := 0
	for i, lasts := range []int{heating, pasteurising, conditioning, cooling, cooled} {
		out.marks = append(out.marks, &compostlotv1.MarkedPhase{LotId: lot, Mark: compostlotv1.PhaseMark(i + 1), Time: at(minute)})
		minute += lasts
	}
	compost := log{compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, temperature}
	air := log{compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE, temperature}
	out.readings = append(out.readings, readingsEvery(5, lot, "p1", compost, filled, whole/5)...)
	out.readings = append(out.readings, readingsEvery(5, lot, "p2", compost, filled, whole/5)...)
	out.readings = append(out.readings, readingsEvery(5, lot, "air", air, filled, whole/5)...)
	add := func(kind compostlotv1.ReadingKind, minute int, value int64) {
		out.readings = append(out.readings, &compostlotv1.Reading{LotId: lot, ProbeId: "lab", Kind: kind, Time: at(minute), ValueThousandths: value})
	}
	for i := range int64(3) {
		add(compostlotv1.ReadingKind_READING_KIND_AMMONIA, whole-180+int(i)*60, 6000-i*1000)
	}
	add(compostlotv1.ReadingKind_READING_KIND_MOISTURE, whole-60, 70_500)
	add(compostlotv1.ReadingKind_READING_KIND_NITROGEN, whole-60, 2200)
	add(compostlotv1.ReadingKind_READING_KIND_PH, whole-60, 7500)
	return out
}

// prove records the making of a sound lot.
func (r *rig) prove(t testing.TB, lot string) {
	t.Helper()
	m := soundLot(lot, r.clock.Now())
	must[*compostlotv1.MarkPhasesResponse](t)(r.MarkPhases(r.office(t), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: m.marks}))
	must[*compostlotv1.RecordReadingsResponse](t)(r.record(r.office(t), m.readings))
}

func (r *rig) release(t testing.TB, lot string) *compostlotv1.Lot {
	t.Helper()
	return must[*compostlotv1.Lot](t)(r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: lot, ReleasedBy: "Orla Keane"}))
}

func (r *rig) reportOf(t testing.TB, lot string) *compostlotv1.LotReport {
	t.Helper()
	return must[*compostlotv1.LotReport](t)(r.GetLotReport(r.office(t), &compostlotv1.GetLotReportRequest{LotId: lot}))
}
