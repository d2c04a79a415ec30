package server

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// WhatIfWider implements CompostLotService. The whole round is shared out anew with the one
// request changed; nothing is kept.
func (s *Server) WhatIfWider(ctx context.Context, req *compostlotv1.WhatIfWiderRequest) (*compostlotv1.Share, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	earliest, err := date("earliest_date", req.GetEarliestDate())
	if err != nil {
		return nil, err
	}
	latest, err := date("latest_date", req.GetLatestDate())
	if err != nil {
		return nil, err
	}
	if latest.Before(earliest) {
		return nil, fault.InvalidField("latest_date", "%s lies before earliest_date %s: exchange them", req.GetLatestDate(), req.GetEarliestDate())
	}
	var out *compostlotv1.Share
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		asked, ok, err := store.FindRequest(ctx, tx, req.GetCompostRequestId())
		if err != nil {
			return err
		}
		if !ok {
			return missing(ReasonUnknownAsk, "compost_request_id", "there is no request %q: correct the id", req.GetCompostRequestId())
		}
		if err := ownFarm(ctx, "compost_request_id", asked.FarmID); err != nil {
			return err
		}
		if asked.RoundID != "" {
			return precondition(ReasonGranted, "compost_request_id", "request %q got its share in %s: make a new request for more", asked.ID, asked.RoundID)
		}
		asked.Earliest, asked.Latest = earliest, latest
		if len(req.GetPhases()) > 0 {
			asked.Phases = convert(req.GetPhases(), func(p typev1.CompostPhase) int16 { return int16(p) })
		}
		slots, err := store.SlotsToShare(ctx, tx, from, to)
		if err != nil {
			return err
		}
		waiting, err := store.WaitingRequests(ctx, tx, from, to)
		if err != nil {
			return err
		}
		waiting = append(slices.DeleteFunc(waiting, func(r store.Request) bool { return r.ID == asked.ID }), asked)
		round, err := shareOut(ctx, tx, slots, waiting)
		if err != nil {
			return err
		}
		shares := round.message().GetShares()
		out = shares[slices.IndexFunc(shares, func(m *compostlotv1.Share) bool { return m.GetCompostRequestId() == asked.ID })]
		return nil
	})
	return out, err
}
