package server

import (
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/shareout"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// Reasons that programs key on.
const (
	ReasonReadAgain     = "CHANGED_MEANWHILE"
	ReasonNotYours      = "NOT_YOURS"
	ReasonSlotExists    = "SLOT_EXISTS"
	ReasonLotExists     = "LOT_EXISTS"
	ReasonUnknownLot    = "UNKNOWN_LOT"
	ReasonUnknownYard   = "UNKNOWN_YARD"
	ReasonTooLate       = "AFTER_CUTOFF"
	ReasonGranted       = "REQUEST_GRANTED"
	ReasonNothingShared = "NOTHING_TO_SHARE"
	ReasonRoundTooLarge = "ROUND_TOO_LARGE"
	ReasonNotProven     = "LOT_NOT_PROVEN"
	ReasonReleased      = "LOT_RELEASED"
	ReasonNotReleased   = "LOT_NOT_RELEASED"
	ReasonHeld          = "LOT_HELD"
	ReasonLotShort      = "LOT_TOO_SMALL"
	ReasonNoCoop        = "COOP_NOT_SAVED"
	ReasonOtherValue    = "READING_DIFFERS"
	ReasonStreamTooLong = "TOO_MANY_READINGS"
	ReasonBadEvidence   = "EVIDENCE_UNUSABLE"
	ReasonOutOfReach    = "OUT_OF_REACH"
	ReasonSlotTaken     = "LOT_MADE_FOR_SLOT"
	ReasonWithdrawn     = "SLOT_WITHDRAWN"
	ReasonUnknownCrop   = "UNKNOWN_CROP"
	ReasonUnknownAsk    = "UNKNOWN_REQUEST"
	ReasonImpossible    = "MEASUREMENT_IMPOSSIBLE"
	ReasonUnknownRecipe = "UNKNOWN_RECIPE"
)

// wording turns errors of the rules and of the database into faults; faults and all else pass.
func wording(err error) error {
	var (
		invalid  *shareout.InvalidError
		tooLarge *shareout.TooLargeError
		evidence *release.EvidenceError
		pgErr    *pgconn.PgError
	)
	const uniqueViolation = "23505"
	switch {
	case err == nil:
		return nil
	case errors.As(err, &invalid):
		return fault.New(fault.Invalid, "ROUND_INVALID", "%v", invalid).WithCause(err)
	case errors.As(err, &tooLarge):
		return fault.New(fault.Precondition, ReasonRoundTooLarge, "%v: share out a shorter span of days", tooLarge).WithCause(err)
	case errors.As(err, &evidence):
		return fault.New(fault.Precondition, ReasonBadEvidence, "%v", evidence).WithCause(err)
	case errors.As(err, &pgErr) && pgErr.Code == uniqueViolation:
		return fault.New(fault.Stale, ReasonReadAgain, "somebody else created the same thing at the same moment: read it, then decide").WithCause(err)
	}
	return err
}

// place says where in a request the element i stands: the path before its fields.
type place func(i int) string

// list is the place of the elements of a repeated field.
func list(field string) place { return func(i int) string { return fmt.Sprintf("%s[%d].", field, i) } }

// only is the place of the one element of a single call: in a field, or ("") the request itself.
func only(field string) place {
	return func(int) string {
		if field == "" {
			return ""
		}
		return field + "."
	}
}

// noDuplicates refuses an id that comes twice.
func noDuplicates(n int, id func(int) string, at place, field string) error {
	first := make(map[string]int, n)
	for i := range n {
		if j, twice := first[id(i)]; twice {
			return fault.InvalidField(at(i)+field, "%q is there twice, first at %s%s: keep one", id(i), at(j), field)
		}
		first[id(i)] = i
	}
	return nil
}

// changed says that a thing is not as the caller has read it.
func changed(path, what string, c store.Change) error {
	return fault.New(fault.Stale, ReasonReadAgain, "%s was changed by %s on %s: read it again and send its etag",
		what, c.By, c.At.UTC().Format("2006-01-02 15:04:05 UTC")).
		WithField(path+"etag", "is not that of the newest version").
		WithMeta("changedBy", c.By).WithMeta("changedAt", c.At.UTC().Format(time.RFC3339))
}

func missing(reason, path, format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	return fault.New(fault.NotFound, reason, "%s", text).WithField(path, "%s", text)
}

func precondition(reason, subject, format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	return fault.New(fault.Precondition, reason, "%s", text).WithField(subject, "%s", text)
}

func unknownLot(path, lotID string) error {
	return missing(ReasonUnknownLot, path+"lot_id", "there is no lot %q: open it first, or correct the code", lotID)
}
