package server

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/outbox"
)

// PushExpectedPicks takes a push, all of it or none.
func (s *Server) PushExpectedPicks(ctx context.Context, req *harvestv1.PushExpectedPicksRequest) (*harvestv1.PushExpectedPicksResponse, error) {
	return once(ctx, s, req.GetRequestId(), req, &harvestv1.PushExpectedPicksResponse{},
		func(ctx context.Context, tx pgx.Tx, a *answers) (*harvestv1.PushExpectedPicksResponse, error) {
			return s.push(ctx, tx, req.GetExpectedPicks(), a)
		})
}

func (s *Server) push(ctx context.Context, tx pgx.Tx, list []*harvestv1.ExpectedPick, a *answers) (*harvestv1.PushExpectedPicksResponse, error) {
	places := make([]place, len(list))
	for i, e := range list {
		places[i] = place{fmt.Sprintf("expected_picks[%d]", i), e.GetRoomId(), e.GetProductId(), e.GetDate()}
	}
	j, err := newJudge(ctx, tx, places, a)
	if err != nil {
		return nil, err
	}
	wanted := judgeFigures(j, list, places)
	if err := j.verdict(); err != nil {
		return nil, err
	}
	held, err := openLots(ctx, tx, j.book, wanted)
	if err != nil {
		return nil, err
	}
	said := make([]store.Expected, len(list))
	now := s.clock.Now()
	for i, e := range list {
		l := held[lots.Code(wanted[i].RoomID, wanted[i].ProductID, wanted[i].Day)]
		said[i] = store.Expected{
			LotID: l.ID, Low: e.GetLowGrams(), Likely: e.GetLikelyGrams(), High: e.GetHighGrams(),
			PushedBy: caller(ctx), PushedAt: now,
			RoomID: l.RoomID, ProductID: l.ProductID, Day: l.Day, FarmID: l.FarmID, CropID: l.Origin.CropID, Held: l.Held(),
		}
	}
	return saveExpected(ctx, tx, said)
}

// judgeFigures judges each figure of a push and returns the lots they speak of.
func judgeFigures(j *judge, list []*harvestv1.ExpectedPick, places []place) []store.PickLot {
	wanted := make([]store.PickLot, len(list))
	first := make(map[place]int, len(list))
	for i, e := range list {
		path := places[i].path
		key := place{"", e.GetRoomId(), e.GetProductId(), e.GetDate()}
		if k, twice := first[key]; twice {
			j.refuse(path, "room %s, product %s and day %s stand in expected_picks[%d] already: give each once", e.GetRoomId(), e.GetProductId(), e.GetDate(), k)
			continue
		}
		first[key] = i
		if e.GetLowGrams() > e.GetLikelyGrams() {
			j.refuse(path+".low_grams", "low %d g is more than likely %d g: low is the least to reckon with", e.GetLowGrams(), e.GetLikelyGrams())
		}
		if e.GetLikelyGrams() > e.GetHighGrams() {
			j.refuse(path+".high_grams", "high %d g is less than likely %d g: high is the most to reckon with", e.GetHighGrams(), e.GetLikelyGrams())
		}
		wanted[i] = j.lot(places[i])
	}
	return wanted
}

// openLots is lots.Open with its error as the caller sees it.
func openLots(ctx context.Context, tx pgx.Tx, book *genealogy.Book, wanted []store.PickLot) (map[string]store.PickLot, error) {
	found, err := lots.Open(ctx, tx, book, wanted)
	var taken *lots.CodeTaken
	if errors.As(err, &taken) {
		return nil, fault.New(fault.Exists, "LOT_CODE_TAKEN", "%s", taken.Error()).WithMeta("pickLotId", taken.Code)
	}
	return found, err
}

// saveExpected saves figures that differ from the newest as the next version
// and tells of them; equal ones stay as they are. It answers with the newest of
// all, in the order given.
func saveExpected(ctx context.Context, tx pgx.Tx, said []store.Expected) (*harvestv1.PushExpectedPicksResponse, error) {
	codes := make([]string, len(said))
	for i, e := range said {
		codes[i] = e.LotID
	}
	before, err := store.ExpectedOfLots(ctx, tx, codes)
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.PushExpectedPicksResponse{ExpectedPicks: make([]*harvestv1.ExpectedPick, len(said))}
	var changed []store.Expected
	for i, e := range said {
		old, known := before[e.LotID]
		if known && old.Low == e.Low && old.Likely == e.Likely && old.High == e.High {
			resp.ExpectedPicks[i] = expectedMessage(old)
			continue
		}
		e.Version = old.Version + 1
		changed = append(changed, e)
		resp.ExpectedPicks[i] = expectedMessage(e)
	}
	if err := store.SaveExpected(ctx, tx, changed); err != nil {
		return nil, err
	}
	for _, e := range changed {
		err := outbox.Add(ctx, tx, outbox.Event{
			Thing: "expected_pick", What: "pushed", Aggregate: e.LotID,
			Payload: &harvestv1.ExpectedPickPushed{ExpectedPick: expectedMessage(e)},
		})
		if err != nil {
			return nil, err
		}
	}
	return resp, nil
}

// expectedMessage is an expected pick as calls and events show it.
func expectedMessage(e store.Expected) *harvestv1.ExpectedPick {
	return &harvestv1.ExpectedPick{
		RoomId: e.RoomID, FarmId: e.FarmID, CropId: e.CropID, ProductId: e.ProductID, Date: e.Day.String(),
		LowGrams: e.Low, LikelyGrams: e.Likely, HighGrams: e.High,
		Version: e.Version, PushedBy: e.PushedBy, PushedAt: timestamppb.New(e.PushedAt), PickLotId: e.LotID,
	}
}
