package server

import (
	"context"
	"strings"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
)

// ListPickLots lists lots of a span of days.
func (s *Server) ListPickLots(ctx context.Context, req *harvestv1.ListPickLotsRequest) (*harvestv1.ListPickLotsResponse, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListPickLotsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := store.LotsOfDays(ctx, tx, from, to, farm)
		for _, l := range list {
			resp.PickLots = append(resp.PickLots, lots.Message(l))
		}
		return err
	})
	return resp, err
}

// Reasons of the faults about holding.
const (
	ReasonHeldByCompost = "HELD_BY_COMPOST"
	ReasonMayNotFree    = "MAY_NOT_FREE"
)

// HoldPickLot holds or frees a lot in the name of the caller.
func (s *Server) HoldPickLot(ctx context.Context, req *harvestv1.HoldPickLotRequest) (*harvestv1.PickLot, error) {
	reason := strings.TrimSpace(req.GetReason())
	if req.GetHold() && reason == "" {
		return nil, fault.InvalidField("reason", "a lot is held for a reason: say why, so that whoever frees it knows what to look at")
	}
	if !req.GetHold() && identity.Must(ctx).Role != identity.Coordinator {
		return nil, fault.New(fault.Forbidden, ReasonMayNotFree, "only the coordinator frees a held lot: ask the co-op's office")
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &harvestv1.PickLot{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.PickLot, error) {
			found, err := store.LockLots(ctx, tx, []string{req.GetPickLotId()})
			if err != nil {
				return nil, err
			}
			was, ok := found[req.GetPickLotId()]
			if !ok {
				return nil, noLot(req.GetPickLotId())
			}
			if err := checkFarm(ctx, "pick lot "+was.ID, was.FarmID); err != nil {
				return nil, err
			}
			now, err := holdOrFree(was, req.GetHold(), reason, caller(ctx))
			if err != nil || now.Version == was.Version {
				return lots.Message(was), err
			}
			if err := store.SaveLot(ctx, tx, now); err != nil {
				return nil, err
			}
			return lots.Message(now), lots.TellHeld(ctx, tx, now)
		})
}

// holdOrFree returns the lot after the request: the next version, or the same
// where it changes nothing.
func holdOrFree(l store.PickLot, hold bool, reason, by string) (store.PickLot, error) {
	switch {
	case hold && (!l.OwnHold || l.OwnReason != reason):
		l.OwnHold, l.OwnReason, l.HeldBy = true, reason, by
		l.Version++
	case !hold && l.OwnHold:
		l.OwnHold, l.OwnReason, l.HeldBy = false, "", ""
		l.Version++
	case !hold && l.Origin.Held:
		return l, fault.New(fault.Precondition, ReasonHeldByCompost, "pick lot %s stays held, because of its compost: the yard must release that first", l.ID).
			WithField("pick lot "+l.ID, "%s", l.Origin.Reason)
	}
	return l, nil
}

// noLot is the fault for a code that no lot has.
func noLot(code string) error {
	return fault.New(fault.NotFound, "NO_PICK_LOT", "no pick lot has the code %s: read it again from the pack or the list", code).WithMeta("pickLotId", code)
}
