package server

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
)

// pushes gathers the pushes of a co-op that come while others of it are being
// written, and writes them together: one commit, and one statement of each kind,
// for all. Two groups are written at once, so that one is made ready while the
// other is forced to disk. A push that comes alone is written at once and by
// itself. What cannot go with others (a refusal, a request sent before, a figure
// that another of the group speaks of, too) goes alone, as it would without a
// group.
type pushes struct {
	mu    sync.Mutex
	coops map[string]*queue // those of which something is being written
}

// queue is the pushes of one co-op.
type queue struct {
	writing int // transactions under way
	waiting []*waitingPush
}

// waitingPush is a push in a group.
type waitingPush struct {
	who  identity.Identity
	req  *harvestv1.PushExpectedPicksRequest
	done chan *harvestv1.PushExpectedPicksResponse // nil for one that must go alone
}

// Bounds of a group.
const (
	mostWriting = 2
	mostPushes  = 64
	mostFigures = 200
	groupTime   = 10 * time.Second
)

// together runs alone where nothing of the co-op is being written, and else
// waits for the group that the push is written in. Large pushes gain nothing
// and always go alone.
func (s *Server) together(ctx context.Context, req *harvestv1.PushExpectedPicksRequest, alone func() (*harvestv1.PushExpectedPicksResponse, error)) (*harvestv1.PushExpectedPicksResponse, error) {
	who := identity.Must(ctx)
	if len(req.GetExpectedPicks()) > mostFigures/10 || !ids.Valid(req.GetRequestId()) {
		return alone()
	}
	g := &s.pushes
	g.mu.Lock()
	if g.coops == nil {
		g.coops = map[string]*queue{}
	}
	q := g.coops[who.CoopID]
	if q == nil {
		q = &queue{}
		g.coops[who.CoopID] = q
	}
	if q.writing < mostWriting && len(q.waiting) == 0 {
		q.writing++
		g.mu.Unlock()
		defer s.next(ctx, who.CoopID)
		return alone()
	}
	w := &waitingPush{who: who, req: req, done: make(chan *harvestv1.PushExpectedPicksResponse, 1)}
	q.waiting = append(q.waiting, w)
	g.mu.Unlock()
	select {
	case resp := <-w.done:
		if resp == nil {
			return alone()
		}
		return resp, nil
	case <-ctx.Done():
		return nil, ctx.Err() // it may yet be written: sent again, it gets that answer
	}
}

// next writes the pushes of a co-op that have come meanwhile, if any, and ends
// when there are none.
func (s *Server) next(ctx context.Context, coopID string) {
	g := &s.pushes
	g.mu.Lock()
	q := g.coops[coopID]
	n := min(len(q.waiting), mostPushes)
	if n == 0 {
		if q.writing--; q.writing == 0 {
			delete(g.coops, coopID)
		}
		g.mu.Unlock()
		return
	}
	group := q.waiting[:n:n]
	q.waiting = q.waiting[n:]
	g.mu.Unlock()
	go func() {
		// The group outlives the call that began it.
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), groupTime)
		defer cancel()
		defer s.next(ctx, coopID)
		s.writeGroup(ctx, coopID, group)
	}()
}

// writeGroup writes pushes in one transaction and gives each its answer. Where
// that fails, each goes alone, and its caller hears why.
func (s *Server) writeGroup(ctx context.Context, coopID string, group []*waitingPush) {
	var answers []*harvestv1.PushExpectedPicksResponse
	defer func() {
		// A defect shows itself when each goes alone, where it is one call's.
		_ = recover()
		for i, w := range group {
			var a *harvestv1.PushExpectedPicksResponse
			if answers != nil {
				a = answers[i]
			}
			w.done <- a
		}
	}()
	if len(group) == 1 {
		return
	}
	ctx = identity.With(ctx, identity.Identity{CoopID: coopID, Role: identity.Service, Name: "harvest"})
	var made []*harvestv1.PushExpectedPicksResponse
	if err := pg.InTx(ctx, s.pool, coopID, func(ctx context.Context, tx pgx.Tx) (err error) {
		made, err = s.pushGroup(ctx, tx, group)
		return err
	}); err == nil {
		answers = made
		s.changed(ctx)
	}
}

// groupPart is a push of a group that can be written with the others.
type groupPart struct {
	at     int // in the group
	wanted []store.PickLot
}

// pushGroup writes what can be written together. The answer of a push that must
// go alone is nil.
func (s *Server) pushGroup(ctx context.Context, tx pgx.Tx, group []*waitingPush) ([]*harvestv1.PushExpectedPicksResponse, error) {
	places := make([][]place, len(group))
	var all []place
	for i, w := range group {
		places[i] = placesOf(w.req.GetExpectedPicks())
		all = append(all, places[i]...)
	}
	j, err := s.newJudge(ctx, tx, all, nil)
	if err != nil {
		return nil, err
	}
	cal, err := s.calendarOf(j.facts.Coop)
	if err != nil {
		return nil, err
	}
	parts := judgeGroup(j, cal, group, places)
	if len(parts) == 0 {
		return make([]*harvestv1.PushExpectedPicksResponse, len(group)), nil
	}
	var wanted []store.PickLot
	for _, p := range parts {
		wanted = append(wanted, p.wanted...)
	}
	open, err := openLots(ctx, tx, j.facts.Book, wanted)
	if err != nil {
		return nil, err
	}
	var said []store.Expected
	for _, p := range parts {
		w := group[p.at]
		if err := checkBases(w.req.GetExpectedPicks(), p.wanted, open); err != nil {
			return nil, err // each goes alone, and its caller hears it
		}
		said = append(said, s.said(cal, w.who, w.req.GetExpectedPicks(), p.wanted, open)...)
	}
	b := &pgx.Batch{}
	saved, err := queueExpected(ctx, b, open, said)
	if err != nil {
		return nil, err
	}
	answers := make([]*harvestv1.PushExpectedPicksResponse, len(group))
	calls := make([]requestlog.Call, len(parts))
	kept := make([]proto.Message, len(parts))
	rest := saved.GetExpectedPicks()
	for i, p := range parts {
		n := len(p.wanted)
		answers[p.at] = &harvestv1.PushExpectedPicksResponse{ExpectedPicks: rest[:n:n]}
		w := group[p.at]
		calls[i] = requestlog.Call{Caller: w.who, RequestID: w.req.GetRequestId(), Request: w.req}
		kept[i], rest = answers[p.at], rest[n:]
	}
	if err := requestlog.Queue(b, calls, kept); err != nil {
		return nil, err
	}
	return answers, tx.SendBatch(ctx, b).Close()
}

// judgeGroup leaves out what is refused, by the caller's own rights, and what
// has the request id or speaks of a lot of an earlier push of the group.
func judgeGroup(all *judge, cal calendar, group []*waitingPush, places [][]place) []groupPart {
	taken := map[string]bool{} // lots and request ids
	var out []groupPart
	figures := 0
	for i, w := range group {
		j := &judge{ownFarm: ownFarmOf(w.who), facts: all.facts}
		list := w.req.GetExpectedPicks()
		wanted := judgeFigures(j, cal, list, places[i])
		if !w.req.GetConfirmLarge() {
			j.judgeSizes(list, wanted, places[i])
		}
		if figures += len(list); j.verdict() != nil || figures > mostFigures {
			continue
		}
		codes := make([]string, len(wanted))
		clash := taken[w.req.GetRequestId()]
		for k, l := range wanted {
			codes[k] = lots.Code(l.RoomID, l.ProductID, l.Day)
			clash = clash || taken[codes[k]]
		}
		if clash {
			continue
		}
		for _, c := range append(codes, w.req.GetRequestId()) {
			taken[c] = true
		}
		out = append(out, groupPart{at: i, wanted: wanted})
	}
	return out
}

// placesOf are the places of which a push speaks.
func placesOf(list []*harvestv1.ExpectedPick) []place {
	places := make([]place, len(list))
	for i, e := range list {
		places[i] = place{fmt.Sprintf("expected_picks[%d]", i), e.GetRoomId(), e.GetProductId(), e.GetDate()}
	}
	return places
}
