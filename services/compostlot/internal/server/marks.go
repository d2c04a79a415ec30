package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// MarkPhases implements CompostLotService. A mark that is known is moved; that is refused once
// the lot is released, as are new ones.
func (s *Server) MarkPhases(ctx context.Context, req *compostlotv1.MarkPhasesRequest) (*compostlotv1.MarkPhasesResponse, error) {
	return once(ctx, s, req, &compostlotv1.MarkPhasesResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.MarkPhasesResponse, error) {
		err := s.markPhases(ctx, tx, req.GetMarks(), list("marks"))
		return &compostlotv1.MarkPhasesResponse{Recorded: int32(len(req.GetMarks()))}, err
	})
}

func (s *Server) markPhases(ctx context.Context, tx pgx.Tx, marks []*compostlotv1.MarkedPhase, at place) error {
	lots, err := lockLots(ctx, tx, marks, at)
	if err != nil {
		return err
	}
	known, err := store.Marks(ctx, tx, ids(marks, (*compostlotv1.MarkedPhase).GetLotId))
	if err != nil {
		return err
	}
	type key struct {
		lot  string
		mark int16
	}
	times, given := map[key]time.Time{}, map[key]int{}
	for _, m := range known {
		times[key{m.LotID, m.Number}] = m.Time
	}
	var rows []store.Mark
	for i, m := range marks {
		when, err := instant(at(i)+"time", m.GetTime())
		if err != nil {
			return err
		}
		k := key{m.GetLotId(), int16(m.GetMark())}
		if j, twice := given[k]; twice {
			return fault.InvalidField(at(i)+"mark", "lot %q has this mark already at %smark: keep one", k.lot, at(j))
		}
		given[k] = i
		if old, ok := times[k]; ok && old.Equal(when) {
			continue
		}
		if err := notReleased(at(i), lots[k.lot]); err != nil {
			return err
		}
		times[k] = when
		rows = append(rows, store.Mark{LotID: k.lot, Number: k.mark, Time: when})
	}
	for i, m := range marks {
		for earlier := int16(1); earlier < int16(m.GetMark()); earlier++ {
			if t, ok := times[key{m.GetLotId(), earlier}]; ok && times[key{m.GetLotId(), int16(m.GetMark())}].Before(t) {
				return outOfOrder(at(i), release.Mark(m.GetMark()), release.Mark(earlier), t)
			}
		}
		for later := int16(m.GetMark()) + 1; later <= int16(release.Cooled); later++ {
			if t, ok := times[key{m.GetLotId(), later}]; ok && times[key{m.GetLotId(), int16(m.GetMark())}].After(t) {
				return outOfOrder(at(i), release.Mark(later), release.Mark(m.GetMark()), t)
			}
		}
	}
	return store.SaveMarks(ctx, tx, rows, actor(ctx), s.now())
}

func outOfOrder(path string, after, before release.Mark, at time.Time) error {
	return fault.InvalidField(path+"time", "the %v cannot come before the %v (%s is known for one of them): correct one", after, before, stamp(at))
}

// stamp writes an instant for people, in UTC.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }
