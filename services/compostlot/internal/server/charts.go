package server

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/chart"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// chartPoints is how many points of a probe a chart has where the caller does not say.
const chartPoints = 400

// GetLotChart implements CompostLotService.
func (s *Server) GetLotChart(ctx context.Context, req *compostlotv1.GetLotChartRequest) (*compostlotv1.LotChart, error) {
	var out *compostlotv1.LotChart
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetLotId())
		if err != nil {
			return err
		}
		if !ok {
			return unknownLot("", req.GetLotId())
		}
		out, err = s.lotChart(ctx, tx, lot, req)
		return err
	})
	return out, err
}

func (s *Server) lotChart(ctx context.Context, tx pgx.Tx, lot store.Lot, req *compostlotv1.GetLotChartRequest) (*compostlotv1.LotChart, error) {
	kinds := convert(req.GetKinds(), func(k compostlotv1.ReadingKind) int16 { return int16(k) })
	from, to, any, err := chartSpan(ctx, tx, lot.ID, kinds, req)
	if err != nil {
		return nil, err
	}
	points := int(req.GetPoints())
	if points == 0 {
		points = chartPoints
	}
	out := &compostlotv1.LotChart{BucketSeconds: chart.Width(max(to.Unix()-from.Unix(), 0), points)}
	if any {
		days, err := store.DaysBetween(ctx, tx, lot.ID, kinds, from, to)
		if err != nil {
			return nil, err
		}
		calibrations, err := store.Calibrations(ctx, tx, lot.ID)
		if err != nil {
			return nil, err
		}
		out.Series = chartSeries(days, calibrations, from.Unix(), to.Unix(), out.GetBucketSeconds())
	}
	at := s.now()
	if lot.State == store.LotReleased {
		at = *lot.ReleasedAt
	}
	rules, _, err := rulesAt(ctx, tx, lot.Phase, at)
	if err != nil {
		return nil, err
	}
	out.Limits = chartLimits(rules, req.GetKinds())
	out.Marks, err = markMessages(ctx, tx, lot.ID)
	return out, err
}

// chartSpan is the stretch that a chart shows; any is false where nothing was read.
func chartSpan(ctx context.Context, tx pgx.Tx, lotID string, kinds []int16, req *compostlotv1.GetLotChartRequest) (from, to time.Time, any bool, err error) {
	first, last, any, err := store.ReadingSpan(ctx, tx, lotID, kinds)
	if err != nil {
		return from, to, false, err
	}
	from, to = first, last.AddDate(0, 0, 1).Add(-time.Second)
	if req.GetFrom() != nil {
		if from, err = instant("from", req.GetFrom()); err != nil {
			return from, to, false, err
		}
	}
	if req.GetTo() != nil {
		if to, err = instant("to", req.GetTo()); err != nil {
			return from, to, false, err
		}
	}
	if any && to.Before(from) && req.GetTo() != nil {
		return from, to, false, fault.InvalidField("to", "%s lies before %s: exchange them", stamp(to), stamp(from))
	}
	return from, to, any && !to.Before(from), nil
}

// chartSeries thins out the days, which come by probe, kind and day.
func chartSeries(days []store.Day, calibrations []store.Calibration, from, to, width int64) []*compostlotv1.ChartSeries {
	offsets := make(map[store.Probe]int64, len(calibrations))
	for _, c := range calibrations {
		offsets[c.Probe] = c.OffsetThousandths
	}
	var out []*compostlotv1.ChartSeries
	for len(days) > 0 {
		probe := days[0].Probe
		n := 0
		for n < len(days) && days[n].Probe == probe {
			n++
		}
		thin := chart.Thin(convert(days[:n], func(d store.Day) chart.Day {
			return chart.Day{Midnight: d.Day.Unix(), Seconds: d.Seconds, Values: d.Thousandths}
		}), offsets[probe], from, to, width)
		if len(thin.At) > 0 {
			out = append(out, &compostlotv1.ChartSeries{
				ProbeId: probe.ProbeID, Kind: compostlotv1.ReadingKind(probe.Kind), Seconds: thin.At, Least: thin.Least, Mean: thin.Mean, Most: thin.Most,
			})
		}
		days = days[n:]
	}
	return out
}

// chartLimits are the bands of the rules for the kinds shown.
func chartLimits(rules release.Rules, kinds []compostlotv1.ReadingKind) []*compostlotv1.ChartLimit {
	var out []*compostlotv1.ChartLimit
	for _, c := range rules.Criteria {
		for _, q := range c.Quantities {
			kind := kindOf(q)
			if len(kinds) > 0 && !slices.Contains(kinds, kind) {
				continue
			}
			out = append(out, &compostlotv1.ChartLimit{
				CriterionId: c.Key, Kind: kind, LowThousandths: c.Low, HighThousandths: c.High, Requirement: c.Requirement(),
			})
		}
	}
	return out
}

func kindOf(q release.Quantity) compostlotv1.ReadingKind {
	for kind, of := range quantities {
		if of == q {
			return kind
		}
	}
	return compostlotv1.ReadingKind_READING_KIND_UNSPECIFIED
}

// markMessages are the marks of a lot in order of time.
func markMessages(ctx context.Context, tx pgx.Tx, lotID string) ([]*compostlotv1.MarkedPhase, error) {
	marks, err := store.Marks(ctx, tx, []string{lotID})
	slices.SortStableFunc(marks, func(a, b store.Mark) int { return a.Time.Compare(b.Time) })
	return convert(marks, func(m store.Mark) *compostlotv1.MarkedPhase {
		return &compostlotv1.MarkedPhase{LotId: m.LotID, Mark: compostlotv1.PhaseMark(m.Number), Time: timestamppb.New(m.Time)}
	}), err
}
