package server

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
)

// PushExpectedPicks takes a push, all of it or none.
func (s *Server) PushExpectedPicks(ctx context.Context, req *harvestv1.PushExpectedPicksRequest) (*harvestv1.PushExpectedPicksResponse, error) {
	return s.together(ctx, req, func() (*harvestv1.PushExpectedPicksResponse, error) {
		return once(ctx, s, req.GetRequestId(), req, &harvestv1.PushExpectedPicksResponse{},
			func(ctx context.Context, tx pgx.Tx, a *answers) (*harvestv1.PushExpectedPicksResponse, error) {
				return s.push(ctx, tx, req, a)
			})
	})
}

func (s *Server) push(ctx context.Context, tx pgx.Tx, req *harvestv1.PushExpectedPicksRequest, a *answers) (*harvestv1.PushExpectedPicksResponse, error) {
	list := req.GetExpectedPicks()
	places := placesOf(list)
	j, err := s.newJudge(ctx, tx, places, a)
	if err != nil {
		return nil, err
	}
	cal, err := s.calendarOf(j.facts.Coop)
	if err != nil {
		return nil, err
	}
	wanted := judgeFigures(j, cal, list, places)
	if !req.GetConfirmLarge() {
		j.judgeSizes(list, wanted, places)
	}
	if err := j.verdict(); err != nil {
		return nil, err
	}
	open, err := openLots(ctx, tx, j.facts.Book, wanted)
	if err != nil {
		return nil, err
	}
	if err := checkBases(list, wanted, open); err != nil {
		return nil, err
	}
	return saveExpected(ctx, tx, open, s.said(cal, identity.Must(ctx), list, wanted, open))
}

// said are the figures of a push as they are stored.
func (s *Server) said(cal calendar, who identity.Identity, list []*harvestv1.ExpectedPick, wanted []store.PickLot, open store.Opened) []store.Expected {
	said := make([]store.Expected, len(list))
	now := s.clock.Now()
	for i, e := range list {
		l := open.Lots[lots.Code(wanted[i].RoomID, wanted[i].ProductID, wanted[i].Day)]
		said[i] = store.Expected{
			LotID: l.ID, Low: e.GetLowGrams(), Likely: e.GetLikelyGrams(), High: e.GetHighGrams(),
			PushedBy: nameOf(who), PushedAt: now, Late: cal.late(l.Day),
			RoomID: l.RoomID, ProductID: l.ProductID, Day: l.Day, FarmID: l.FarmID, CropID: l.Origin.CropID, Held: l.Held(),
		}
	}
	return said
}

// judgeFigures judges each figure of a push and returns the lots they speak of.
func judgeFigures(j *judge, cal calendar, list []*harvestv1.ExpectedPick, places []place) []store.PickLot {
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
		// Days that have passed are taken: one may write down in the evening what
		// was expected in the morning.
		if on, err := day.Parse(e.GetDate()); err == nil && on > cal.last() {
			j.refuse(path+".date", "%s lies more than %d days ahead: push it from %s on", on, cal.rules.HorizonDays, on.Add(-cal.rules.HorizonDays))
			continue
		}
		wanted[i] = j.lot(places[i])
	}
	return wanted
}

// tooLarge is how many times what a room can bear in a day is taken for a slip
// of the pen.
const tooLarge = 10

// judgeSizes refuses what no bed of the room's area can bear.
func (j *judge) judgeSizes(list []*harvestv1.ExpectedPick, wanted []store.PickLot, places []place) {
	for i, l := range wanted {
		crop, ok := j.facts.Book.CropOn(l.RoomID, l.Day)
		if !ok {
			continue
		}
		if m := j.facts.DayMost(crop.ID); m > 0 && list[i].GetHighGrams() > tooLarge*m {
			j.refuse(places[i].path+".high_grams", "high %d g is more than %d times the %d g that room %s can bear in a day by its area: correct it, or set confirm_large",
				list[i].GetHighGrams(), tooLarge, m, l.RoomID)
		}
	}
}

// openLots is lots.Open with its error as the caller sees it.
func openLots(ctx context.Context, tx pgx.Tx, book *genealogy.Book, wanted []store.PickLot) (store.Opened, error) {
	found, err := lots.Open(ctx, tx, book, wanted)
	var taken *lots.CodeTaken
	if errors.As(err, &taken) {
		return found, fault.New(fault.Exists, "LOT_CODE_TAKEN", "%s", taken.Error()).WithMeta("pickLotId", taken.Code)
	}
	return found, err
}

// saveExpected saves figures that differ from the newest as the next version
// and tells of them; equal ones stay as they are. It answers with the newest of
// all, in the order given.
func saveExpected(ctx context.Context, tx pgx.Tx, open store.Opened, said []store.Expected) (*harvestv1.PushExpectedPicksResponse, error) {
	b := &pgx.Batch{}
	resp, err := queueExpected(ctx, b, open, said)
	if err != nil || b.Len() == 0 {
		return resp, err
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return nil, fmt.Errorf("save expected picks: %w", err)
	}
	return resp, nil
}

// queueExpected is saveExpected as a part of a batch of statements.
func queueExpected(ctx context.Context, b *pgx.Batch, open store.Opened, said []store.Expected) (*harvestv1.PushExpectedPicksResponse, error) {
	resp := &harvestv1.PushExpectedPicksResponse{ExpectedPicks: make([]*harvestv1.ExpectedPick, len(said))}
	var changed []store.Expected
	for i, e := range said {
		old, known := open.Expected[e.LotID]
		if known && old.Low == e.Low && old.Likely == e.Likely && old.High == e.High && old.StandIn == e.StandIn {
			resp.ExpectedPicks[i] = expectedMessage(old)
			continue
		}
		e.Version = old.Version + 1
		changed = append(changed, e)
		resp.ExpectedPicks[i] = expectedMessage(e)
	}
	if len(changed) == 0 {
		return resp, nil
	}
	store.QueueExpected(b, changed)
	events := make([]outbox.Event, len(changed))
	for i, e := range changed {
		events[i] = outbox.Event{
			Thing: "expected_pick", What: "pushed", Aggregate: e.LotID,
			Payload: &harvestv1.ExpectedPickPushed{ExpectedPick: expectedMessage(e)},
		}
	}
	return resp, outbox.Queue(ctx, b, events)
}

// StreamExpectedPicks takes a push figure by figure.
func (s *Server) StreamExpectedPicks(stream grpc.ClientStreamingServer[harvestv1.StreamExpectedPicksRequest, harvestv1.StreamExpectedPicksResponse]) error {
	req := &harvestv1.PushExpectedPicksRequest{}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		switch id := m.GetRequestId(); {
		case len(req.GetExpectedPicks()) == 0:
			req.RequestId = id
		case id != "" && id != req.GetRequestId():
			return fault.InvalidField("request_id", "message %d carries another request id than the first: a stream is one push", len(req.GetExpectedPicks())+1)
		}
		if len(req.GetExpectedPicks()) == mostStreamed {
			return fault.InvalidField("expected_pick", "a push has %d figures at most: send the rest in another stream", mostStreamed)
		}
		req.ExpectedPicks = append(req.ExpectedPicks, m.GetExpectedPick())
		req.ConfirmLarge = req.GetConfirmLarge() || m.GetConfirmLarge()
	}
	if len(req.GetExpectedPicks()) == 0 {
		return fault.InvalidField("expected_pick", "the stream carried no figure: send at least one")
	}
	resp, err := s.PushExpectedPicks(stream.Context(), req)
	if err != nil {
		return err
	}
	return stream.SendAndClose(&harvestv1.StreamExpectedPicksResponse{ExpectedPicks: resp.GetExpectedPicks()})
}

// mostStreamed is how many figures one push has at most.
const mostStreamed = 10_000

// ListExpectedPickVersions lists all that was ever expected of a lot.
func (s *Server) ListExpectedPickVersions(ctx context.Context, req *harvestv1.ListExpectedPickVersionsRequest) (*harvestv1.ListExpectedPickVersionsResponse, error) {
	resp := &harvestv1.ListExpectedPickVersionsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetPickLotId())
		if err != nil {
			return err
		}
		if !ok {
			return noLot(req.GetPickLotId())
		}
		if err := checkFarm(ctx, "pick lot "+lot.ID, lot.FarmID); err != nil {
			return err
		}
		list, err := store.ExpectedVersions(ctx, tx, lot.ID)
		for _, e := range list {
			resp.ExpectedPicks = append(resp.ExpectedPicks, expectedMessage(e))
		}
		return err
	})
	return resp, err
}

// expectedMessage is an expected pick as calls and events show it.
func expectedMessage(e store.Expected) *harvestv1.ExpectedPick {
	source := harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_GROWER
	if e.StandIn {
		source = harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST
	}
	return &harvestv1.ExpectedPick{
		Late: e.Late, Source: source,
		RoomId: e.RoomID, FarmId: e.FarmID, CropId: e.CropID, ProductId: e.ProductID, Date: e.Day.String(),
		LowGrams: e.Low, LikelyGrams: e.Likely, HighGrams: e.High,
		Version: e.Version, PushedBy: e.PushedBy, PushedAt: timestamppb.New(e.PushedAt), PickLotId: e.LotID,
	}
}
