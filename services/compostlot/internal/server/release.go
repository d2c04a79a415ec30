package server

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// ReleaseLot implements CompostLotService.
func (s *Server) ReleaseLot(ctx context.Context, req *compostlotv1.ReleaseLotRequest) (*compostlotv1.Lot, error) {
	return once(ctx, s, req, &compostlotv1.Lot{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Lot, error) {
		released, err := s.releaseLots(ctx, tx, []*compostlotv1.LotRelease{{
			LotId: req.GetLotId(), ReleasedBy: req.GetReleasedBy(), ExceptionReason: req.GetExceptionReason(),
			Etag: req.GetEtag(), ReleasedAt: req.GetReleasedAt(),
		}}, only(""))
		if err != nil {
			return nil, err
		}
		return released[0], nil
	})
}

// BatchReleaseLots implements CompostLotService.
func (s *Server) BatchReleaseLots(ctx context.Context, req *compostlotv1.BatchReleaseLotsRequest) (*compostlotv1.BatchReleaseLotsResponse, error) {
	return once(ctx, s, req, &compostlotv1.BatchReleaseLotsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.BatchReleaseLotsResponse, error) {
		released, err := s.releaseLots(ctx, tx, req.GetReleases(), list("releases"))
		return &compostlotv1.BatchReleaseLotsResponse{Lots: released}, err
	})
}

func (s *Server) releaseLots(ctx context.Context, tx pgx.Tx, releases []*compostlotv1.LotRelease, at place) ([]*compostlotv1.Lot, error) {
	if err := noDuplicates(len(releases), func(i int) string { return releases[i].GetLotId() }, at, "lot_id"); err != nil {
		return nil, err
	}
	lots, err := lockLots(ctx, tx, releases, at)
	if err != nil {
		return nil, err
	}
	out := make([]*compostlotv1.Lot, len(releases))
	var refused *fault.Error // every lot that lacks evidence is named, not only the first
	for i, r := range releases {
		lot, err := s.releaseLot(ctx, tx, lots[r.GetLotId()], r, at(i))
		var unproven *unprovenLot
		if errors.As(err, &unproven) {
			refused = unproven.addTo(refused, at(i))
			continue
		}
		if err != nil {
			return nil, err
		}
		out[i] = lotMessage(lot)
		if err := tell(ctx, tx, "lot", "released", lot.ID, &compostlotv1.LotReleased{Lot: out[i]}); err != nil {
			return nil, err
		}
	}
	if refused != nil {
		return nil, refused
	}
	return out, nil
}

// releaseLot judges one lot as of its release and stores the decision, if it may stand.
func (s *Server) releaseLot(ctx context.Context, tx pgx.Tx, lot store.Lot, r *compostlotv1.LotRelease, path string) (store.Lot, error) {
	if sent := r.GetEtag(); sent != "" && sent != saving.Etag(lot.Version) {
		return lot, changed(path, "lot "+lot.ID, lot.Change)
	}
	if lot.State == store.LotReleased {
		return lot, precondition(ReasonReleased, path+"lot_id", "lot %q was released by %s at %s already", lot.ID, lot.ReleasedBy, stamp(*lot.ReleasedAt))
	}
	now := s.now()
	when, err := releaseTime(lot, r, now, path)
	if err != nil {
		return lot, err
	}
	report, err := judge(ctx, tx, lot, when)
	if err != nil {
		return lot, err
	}
	decided, err := release.Decide(report, release.Decision{
		By: r.GetReleasedBy(), Exception: r.GetExceptionReason() != "", Reason: r.GetExceptionReason(),
	})
	if err != nil {
		return lot, refusal(err, lot, report, path)
	}
	lot.State, lot.ReleasedBy, lot.ReleasedAt = store.LotReleased, decided.By, &when
	lot.HeldBy, lot.HoldReason = "", ""
	passOver(&lot, decided)
	lot.Change = lot.Next(actor(ctx), now)
	if err := store.UpdateLot(ctx, tx, lot); err != nil {
		return lot, err
	}
	kind := store.DecidedRelease
	if decided.Exception {
		kind = store.DecidedException
	}
	return lot, store.AddDecision(ctx, tx, store.Decision{
		LotID: lot.ID, Version: lot.Version, Kind: kind, By: decided.By, At: when,
		Reason: decided.Reason, Unproven: decided.Unproven, Entered: lot.Change,
	})
}

// passOver notes what a release passes over. An exception under which some of the lot was
// delivered stays with it: there are packs made from it.
func passOver(lot *store.Lot, d release.Release) {
	before := lot.ExceptionReason
	if before == "" || lot.RemainingKg == lot.MadeKg {
		lot.ExceptionReason, lot.Unproven = d.Reason, d.Unproven
		return
	}
	if d.Reason != "" && d.Reason != before {
		lot.ExceptionReason = before + "; " + d.Reason
	}
	for _, key := range d.Unproven {
		if !slices.Contains(lot.Unproven, key) {
			lot.Unproven = append(lot.Unproven, key)
		}
	}
}

// releaseTime is when the lot was released: now, or earlier where it is entered later.
func releaseTime(lot store.Lot, r *compostlotv1.LotRelease, now time.Time, path string) (time.Time, error) {
	if r.GetReleasedAt() == nil {
		return now, nil
	}
	when, err := instant(path+"released_at", r.GetReleasedAt())
	switch {
	case err != nil:
		return when, err
	case when.After(now):
		return when, fault.InvalidField(path+"released_at", "%s lies in the future: a lot is released on evidence that is there", stamp(when))
	case when.Before(lot.StartedDate.AddDate(0, 0, -1)): // a day's grace for time zones
		return when, fault.InvalidField(path+"released_at", "%s lies before composting began on %s", stamp(when), dateText(lot.StartedDate))
	case lot.State == store.LotHeld && when.Before(lot.At):
		return when, fault.InvalidField(path+"released_at", "%s lies before the hold of %s: a hold ends by a release after it", stamp(when), stamp(lot.At))
	}
	return when, nil
}

// refusal turns a decision that may not stand into a fault, or an *unprovenLot.
func refusal(err error, lot store.Lot, report *release.Report, path string) error {
	var decision *release.DecisionError
	var unproven *release.UnprovenError
	switch {
	case errors.As(err, &unproven):
		return &unprovenLot{lot: lot.ID, report: report}
	case errors.As(err, &decision):
		field := "exception_reason"
		if decision.Field == "by" {
			field = "released_by"
		}
		return fault.InvalidField(path+field, "%s", decision.Problem)
	}
	return err
}

// unprovenLot is a lot that its evidence does not release.
type unprovenLot struct {
	lot    string
	report *release.Report
}

func (u *unprovenLot) Error() string { return "lot " + u.lot + " is not proven" }

// addTo adds every criterion that is not met to the fault.
func (u *unprovenLot) addTo(f *fault.Error, path string) *fault.Error {
	if f == nil {
		f = fault.New(fault.Precondition, ReasonNotProven, "lot %q is not released: its readings do not prove what they must; mend what each criterion names, or release it as an exception with a reason", u.lot).
			WithMeta("lotId", u.lot)
	}
	for _, finding := range u.report.Findings {
		if finding.Verdict != release.Met {
			f = f.WithField(path+"criteria."+finding.Criterion.Key, "lot %s, %v: %s", u.lot, finding.Verdict, explanation(finding))
		}
	}
	return f
}

// HoldLot implements CompostLotService.
func (s *Server) HoldLot(ctx context.Context, req *compostlotv1.HoldLotRequest) (*compostlotv1.Lot, error) {
	return once(ctx, s, req, &compostlotv1.Lot{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Lot, error) {
		lots, err := lockLots(ctx, tx, []*compostlotv1.HoldLotRequest{req}, only(""))
		if err != nil {
			return nil, err
		}
		return s.holdLot(ctx, tx, lots[req.GetLotId()], req.GetHeldBy(), req.GetReason())
	})
}

func (s *Server) holdLot(ctx context.Context, tx pgx.Tx, lot store.Lot, by, reason string) (*compostlotv1.Lot, error) {
	if lot.State == store.LotHeld {
		return nil, precondition(ReasonHeld, "lot_id", "lot %q is held already, by %s since %s: %s", lot.ID, lot.HeldBy, stamp(lot.At), lot.HoldReason)
	}
	now := s.now()
	lot.State, lot.HeldBy, lot.HoldReason = store.LotHeld, by, reason
	lot.Change = lot.Next(actor(ctx), now)
	if err := store.UpdateLot(ctx, tx, lot); err != nil {
		return nil, err
	}
	err := store.AddDecision(ctx, tx, store.Decision{
		LotID: lot.ID, Version: lot.Version, Kind: store.DecidedHold, By: by, At: now, Reason: reason, Entered: lot.Change,
	})
	if err != nil {
		return nil, err
	}
	out := lotMessage(lot)
	if err := tell(ctx, tx, "lot", "held", lot.ID, &compostlotv1.LotHeld{Lot: out}); err != nil {
		return nil, fmt.Errorf("hold lot %s: %w", lot.ID, err)
	}
	return out, nil
}
