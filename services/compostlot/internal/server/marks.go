package server

import (
	"context"
	"slices"
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
		own := times[key{m.GetLotId(), int16(m.GetMark())}]
		rank := slices.Index(markOrder, m.GetMark())
		for other, o := range markOrder {
			t, ok := times[key{m.GetLotId(), int16(o)}]
			switch {
			case ok && other < rank && own.Before(t):
				return outOfOrder(at(i), m.GetMark(), o, t)
			case ok && other > rank && own.After(t):
				return outOfOrder(at(i), o, m.GetMark(), t)
			}
		}
	}
	return store.SaveMarks(ctx, tx, rows, actor(ctx), s.now())
}

// markOrder is the order of the marks in time.
var markOrder = []compostlotv1.PhaseMark{
	compostlotv1.PhaseMark_PHASE_MARK_WETTED, compostlotv1.PhaseMark_PHASE_MARK_FILLED, compostlotv1.PhaseMark_PHASE_MARK_LEVELLING,
	compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING, compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING, compostlotv1.PhaseMark_PHASE_MARK_COOLING,
	compostlotv1.PhaseMark_PHASE_MARK_COOLED, compostlotv1.PhaseMark_PHASE_MARK_SPAWNED, compostlotv1.PhaseMark_PHASE_MARK_COLONISED,
}

// markName is a mark in words; those that the release rules use have theirs.
func markName(m compostlotv1.PhaseMark) string {
	switch m {
	case compostlotv1.PhaseMark_PHASE_MARK_WETTED:
		return "start of wetting"
	case compostlotv1.PhaseMark_PHASE_MARK_LEVELLING:
		return "start of levelling"
	case compostlotv1.PhaseMark_PHASE_MARK_SPAWNED:
		return "spawning in the tunnel"
	case compostlotv1.PhaseMark_PHASE_MARK_COLONISED:
		return "end of spawn run"
	default:
		return release.Mark(m).String()
	}
}

func outOfOrder(path string, after, before compostlotv1.PhaseMark, at time.Time) error {
	return fault.InvalidField(path+"time", "the %s cannot come before the %s (%s is known for one of them): correct one", markName(after), markName(before), stamp(at))
}

// stamp writes an instant for people, in UTC.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }
