package fakecoop

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func (l *compostlot) OpenLot(_ context.Context, req *compostlotv1.OpenLotRequest) (*compostlotv1.Lot, error) {
	return once(l.c, "OpenLot", req, func() (*compostlotv1.Lot, error) {
		if _, err := l.report(req.GetLot().GetLotId()); err == nil {
			return nil, fault.New(fault.Exists, "LOT_EXISTS", "Lot %s is open already.", req.GetLot().GetLotId()).WithField("lot.lot_id", "is taken")
		}
		lot := proto.CloneOf(req.GetLot())
		lot.State, lot.RemainingKg, lot.Etag = compostlotv1.LotState_LOT_STATE_OPEN, lot.GetMadeKg(), "1"
		l.c.Reports = append(l.c.Reports, &compostlotv1.LotReport{Lot: lot})
		return lot, nil
	})
}

func (l *compostlot) MarkPhases(_ context.Context, req *compostlotv1.MarkPhasesRequest) (*compostlotv1.MarkPhasesResponse, error) {
	return once(l.c, "MarkPhases", req, func() (*compostlotv1.MarkPhasesResponse, error) {
		for i, m := range req.GetMarks() {
			r, err := l.report(m.GetLotId())
			if err != nil {
				return nil, err
			}
			if m.GetMark() == compostlotv1.PhaseMark_PHASE_MARK_WETTED {
				return nil, fault.InvalidField(fmt.Sprintf("marks[%d].time", i), "lies after the filling")
			}
			r.Marks = append(r.Marks, m)
		}
		return &compostlotv1.MarkPhasesResponse{Recorded: int32(len(req.GetMarks()))}, nil
	})
}

func (l *compostlot) SetLotRecipe(_ context.Context, req *compostlotv1.SetLotRecipeRequest) (*compostlotv1.Lot, error) {
	return once(l.c, "SetLotRecipe", req, func() (*compostlotv1.Lot, error) {
		r, err := l.report(req.GetLotId())
		if err != nil {
			return nil, err
		}
		r.Lot.RecipeId = req.GetRecipeId()
		return proto.CloneOf(r.GetLot()), nil
	})
}

func (l *compostlot) RecordHeap(ctx context.Context, req *compostlotv1.RecordHeapRequest) (*compostlotv1.Lot, error) {
	return once(l.c, "RecordHeap", req, func() (*compostlotv1.Lot, error) {
		r, err := l.report(req.GetSample().GetLotId())
		if err != nil {
			return nil, err
		}
		if req.GetSample().GetNitrogenPercent() > 10 {
			return nil, fault.InvalidField("sample.nitrogen_percent", "no compost holds so much")
		}
		sample := proto.CloneOf(req.GetSample())
		sample.Mass.Grams, sample.RecordedBy = int64(sample.GetMass().GetAmount()*1000), identity.Must(ctx).Name
		r.Samples = append(r.Samples, sample)
		r.MassBalance = append(r.MassBalance, &compostlotv1.MassBalanceStep{Explanation: "A third of the dry matter is gone."})
		if req.GetSetsMade() {
			r.Lot.MadeKg = sample.GetMass().GetGrams() / 1000
		}
		return proto.CloneOf(r.GetLot()), nil
	})
}

func (l *compostlot) SaveProbe(ctx context.Context, req *compostlotv1.SaveProbeRequest) (*compostlotv1.Probe, error) {
	return once(l.c, "SaveProbe", req, func() (*compostlotv1.Probe, error) {
		r, err := l.report(req.GetProbe().GetLotId())
		if err != nil {
			return nil, err
		}
		for _, p := range r.GetProbes() {
			if p.GetProbeId() == req.GetProbe().GetProbeId() {
				if p.GetEtag() != req.GetProbe().GetEtag() {
					return nil, fault.New(fault.Stale, "CHANGED_MEANWHILE", "Probe %s was calibrated by %s.", p.GetProbeId(), p.GetCalibratedBy()).WithField("probe.etag", "is not that of the newest version")
				}
				p.OffsetThousandths, p.CalibratedBy, p.Etag = req.GetProbe().GetOffsetThousandths(), identity.Must(ctx).Name, "v2"
				return p, nil
			}
		}
		return nil, notFound("probe", req.GetProbe().GetProbeId())
	})
}

func (l *compostlot) ListRefusedReadings(context.Context, *compostlotv1.ListRefusedReadingsRequest) (*compostlotv1.ListRefusedReadingsResponse, error) {
	return read(l.c, "ListRefusedReadings", func() (*compostlotv1.ListRefusedReadingsResponse, error) {
		return &compostlotv1.ListRefusedReadingsResponse{Refused: l.c.Refused}, nil
	})
}
