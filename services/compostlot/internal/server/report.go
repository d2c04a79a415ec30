package server

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
)

// GetLotReport implements CompostLotService.
func (s *Server) GetLotReport(ctx context.Context, req *compostlotv1.GetLotReportRequest) (*compostlotv1.LotReport, error) {
	var out *compostlotv1.LotReport
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetLotId())
		if err != nil {
			return err
		}
		if !ok {
			return unknownLot("", req.GetLotId())
		}
		out, err = s.report(ctx, tx, lot)
		return err
	})
	return out, err
}

func (s *Server) report(ctx context.Context, tx pgx.Tx, lot store.Lot) (*compostlotv1.LotReport, error) {
	at := s.now()
	if lot.State == store.LotReleased {
		at = *lot.ReleasedAt
	}
	judged, err := judge(ctx, tx, lot, at)
	if err != nil {
		return nil, err
	}
	out := &compostlotv1.LotReport{
		Lot: lotMessage(lot), Criteria: convert(judged.Findings, criterionMessage), Proven: judged.Proven,
		Caution: judged.Caution, JudgedAt: timestamppb.New(at),
	}
	yards, err := store.Yards(ctx, tx, []string{lot.YardID})
	if err != nil {
		return nil, err
	}
	out.Yard = yardMessage(yards[lot.YardID])
	marks, err := store.Marks(ctx, tx, []string{lot.ID})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(marks, func(a, b store.Mark) int { return a.Time.Compare(b.Time) })
	out.Marks = convert(marks, func(m store.Mark) *compostlotv1.MarkedPhase {
		return &compostlotv1.MarkedPhase{LotId: m.LotID, Mark: compostlotv1.PhaseMark(m.Number), Time: timestamppb.New(m.Time)}
	})
	if out.Probes, err = probes(ctx, tx, lot.ID); err != nil {
		return nil, err
	}
	for _, p := range out.GetProbes() {
		out.Readings += p.GetReadings()
	}
	deliveries, err := store.ListDeliveries(ctx, tx, []string{lot.ID})
	out.Deliveries = convert(deliveries, deliveryMessage)
	return out, err
}
