package server

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
)

// SaveProbe implements CompostLotService.
func (s *Server) SaveProbe(ctx context.Context, req *compostlotv1.SaveProbeRequest) (*compostlotv1.Probe, error) {
	return once(ctx, s, req, &compostlotv1.Probe{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Probe, error) {
		p, at := req.GetProbe(), only("probe")
		lots, err := lockLots(ctx, tx, []*compostlotv1.Probe{p}, at)
		if err != nil {
			return nil, err
		}
		if err := notReleased(at(0), lots[p.GetLotId()]); err != nil {
			return nil, err
		}
		row := store.Calibration{
			Probe:             store.Probe{LotID: p.GetLotId(), ProbeID: p.GetProbeId(), Kind: int16(p.GetKind())},
			OffsetThousandths: p.GetOffsetThousandths(), By: actor(ctx),
		}
		if err := store.SaveCalibration(ctx, tx, row, s.now()); err != nil {
			return nil, err
		}
		all, err := probes(ctx, tx, p.GetLotId())
		if err != nil {
			return nil, err
		}
		saved := slices.IndexFunc(all, func(o *compostlotv1.Probe) bool {
			return o.GetProbeId() == p.GetProbeId() && o.GetKind() == p.GetKind()
		})
		return all[saved], nil
	})
}

// probes returns the probes that have logged something of a lot or are calibrated for it, by
// id and kind.
func probes(ctx context.Context, tx pgx.Tx, lotID string) ([]*compostlotv1.Probe, error) {
	logged, err := store.LoggedBy(ctx, tx, lotID)
	if err != nil {
		return nil, err
	}
	calibrations, err := store.Calibrations(ctx, tx, lotID)
	if err != nil {
		return nil, err
	}
	all := map[store.Probe]*compostlotv1.Probe{}
	at := func(p store.Probe) *compostlotv1.Probe {
		if all[p] == nil {
			all[p] = &compostlotv1.Probe{LotId: p.LotID, ProbeId: p.ProbeID, Kind: compostlotv1.ReadingKind(p.Kind)}
		}
		return all[p]
	}
	for _, l := range logged {
		p := at(l.Probe)
		p.Readings, p.FirstAt, p.LastAt = l.Readings, timestamppb.New(l.FirstAt), timestamppb.New(l.LastAt)
	}
	for _, c := range calibrations {
		p := at(c.Probe)
		p.OffsetThousandths, p.CalibratedBy = c.OffsetThousandths, c.By
	}
	return slices.SortedFunc(maps.Values(all), func(a, b *compostlotv1.Probe) int {
		return cmp.Or(strings.Compare(a.GetProbeId(), b.GetProbeId()), cmp.Compare(a.GetKind(), b.GetKind()))
	}), nil
}
