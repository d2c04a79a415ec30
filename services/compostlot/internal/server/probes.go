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
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
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
		if err := s.calibrate(ctx, tx, p, at(0)); err != nil {
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

// calibrate keeps the calibration of a probe where it is new or changes what the caller has
// read.
func (s *Server) calibrate(ctx context.Context, tx pgx.Tx, m *compostlotv1.Probe, path string) error {
	row := store.Calibration{
		Probe:             store.Probe{LotID: m.GetLotId(), ProbeID: m.GetProbeId(), Kind: int16(m.GetKind())},
		OffsetThousandths: m.GetOffsetThousandths(),
	}
	known, err := store.Calibrations(ctx, tx, m.GetLotId())
	if err != nil {
		return err
	}
	var old store.Calibration
	if i := slices.IndexFunc(known, func(c store.Calibration) bool { return c.Probe == row.Probe }); i >= 0 {
		old = known[i]
	}
	switch {
	case old.Version == 0 && m.GetEtag() != "":
		return fault.InvalidField(path+"etag", "probe %q was never calibrated for this: leave the etag empty", m.GetProbeId())
	case m.GetEtag() != "" && m.GetEtag() != saving.Etag(old.Version):
		return changed(path, "the calibration of probe "+m.GetProbeId(), old.Change)
	case old.Version > 0 && old.OffsetThousandths == row.OffsetThousandths:
		return nil
	case old.Version > 0 && m.GetEtag() == "":
		return changed(path, "the calibration of probe "+m.GetProbeId(), old.Change)
	}
	row.Change = old.Next(actor(ctx), s.now())
	return store.SaveCalibration(ctx, tx, row)
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
		p.OffsetThousandths, p.CalibratedBy, p.Etag = c.OffsetThousandths, c.By, saving.Etag(c.Version)
	}
	return slices.SortedFunc(maps.Values(all), func(a, b *compostlotv1.Probe) int {
		return cmp.Or(strings.Compare(a.GetProbeId(), b.GetProbeId()), cmp.Compare(a.GetKind(), b.GetKind()))
	}), nil
}
