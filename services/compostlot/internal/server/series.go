package server

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/teambition/rrule-go"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/platform/fault"
)

// mostSlots is the most slots of one series: one a day for more than two years.
const mostSlots = 1000

// PublishSlotSeries implements CompostLotService.
func (s *Server) PublishSlotSeries(ctx context.Context, req *compostlotv1.PublishSlotSeriesRequest) (*compostlotv1.PublishSlotsResponse, error) {
	days, err := seriesDays(req)
	if err != nil {
		return nil, err
	}
	if err := s.o.Members.Learn(ctx, members.Wanted{Coop: true}); err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.PublishSlotsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.PublishSlotsResponse, error) {
		zone, err := coopZone(ctx, tx)
		if err != nil {
			return nil, err
		}
		slots, err := seriesSlots(req.GetFirst(), days, zone)
		if err != nil {
			return nil, err
		}
		// Every slot of the series comes from the first, so an error about any names that.
		published, err := publishSlots(ctx, tx, slots, only("first"))
		return &compostlotv1.PublishSlotsResponse{Slots: published}, err
	})
}

// seriesDays are the ready days that the rule gives, in order.
func seriesDays(req *compostlotv1.PublishSlotSeriesRequest) ([]time.Time, error) {
	first, err := date("first.ready_date", req.GetFirst().GetReadyDate())
	if err != nil {
		return nil, err
	}
	through, err := date("through_date", req.GetThroughDate())
	if err != nil {
		return nil, err
	}
	if through.Before(first) {
		return nil, fault.InvalidField("through_date", "%s lies before the first day %s: give a later one", req.GetThroughDate(), req.GetFirst().GetReadyDate())
	}
	option, err := rrule.StrToROption(req.GetRule())
	if err != nil {
		return nil, fault.InvalidField("rule", "%q is no recurrence rule (%v): write it as FREQ=WEEKLY;BYDAY=TU", req.GetRule(), err)
	}
	if option.Freq > rrule.DAILY || !option.Dtstart.IsZero() || strings.Contains(strings.ToUpper(req.GetRule()), "BYHOUR") {
		return nil, fault.InvalidField("rule", "slots recur by days: use FREQ=DAILY, WEEKLY, MONTHLY or YEARLY, without times and without DTSTART")
	}
	option.Dtstart = first
	rule, err := rrule.NewRRule(*option)
	if err != nil {
		return nil, fault.InvalidField("rule", "%q cannot be (%v)", req.GetRule(), err)
	}
	days, err := daysOf(rule, through)
	if err != nil {
		return nil, err
	}
	if len(days) == 0 || !days[0].Equal(first) {
		// RFC 5545, 3.8.5.3 leaves a series undefined whose start is none of its days.
		return nil, fault.InvalidField("first.ready_date", "%s is none of the rule's days: begin on one that is", req.GetFirst().GetReadyDate())
	}
	for _, text := range req.GetExceptDates() {
		except, err := date("except_dates", text)
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(days, except.Equal)
		if i < 0 {
			return nil, fault.InvalidField("except_dates", "%s is none of the days of the series: leave it out", text)
		}
		days = slices.Delete(days, i, i+1)
	}
	if len(days) == 0 {
		return nil, fault.InvalidField("except_dates", "leave no day of the series: except fewer")
	}
	return days, nil
}

func daysOf(rule *rrule.RRule, through time.Time) ([]time.Time, error) {
	var days []time.Time
	next := rule.Iterator()
	for at, ok := next(); ok && !at.After(through); at, ok = next() {
		if len(days) == mostSlots {
			return nil, fault.InvalidField("through_date", "the series has more than %d days: end it earlier", mostSlots)
		}
		days = append(days, at)
	}
	return days, nil
}

// seriesSlots are the slots of a series. The cut-off of each lies as many days before it, at
// the same time of day in the co-op's zone.
func seriesSlots(first *compostlotv1.Slot, days []time.Time, zone *time.Location) ([]*compostlotv1.Slot, error) {
	start, err := date("first.ready_date", first.GetReadyDate())
	if err != nil {
		return nil, err
	}
	cutoff, err := instant("first.request_cutoff", first.GetRequestCutoff())
	if err != nil {
		return nil, err
	}
	local := cutoff.In(zone)
	y, m, d := local.Date()
	before := int(start.Sub(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))
	out := make([]*compostlotv1.Slot, len(days))
	for i, day := range days {
		slot := proto.CloneOf(first)
		slot.SlotId += "-" + day.Format("20060102")
		if len(slot.GetSlotId()) > maxID {
			return nil, fault.InvalidField("first.slot_id", "is longer than %d characters with the day added: shorten it", maxID)
		}
		slot.ReadyDate = dateText(day)
		at := day.AddDate(0, 0, -before)
		slot.RequestCutoff = timestamppb.New(time.Date(at.Year(), at.Month(), at.Day(), local.Hour(), local.Minute(), local.Second(), 0, zone))
		out[i] = slot
	}
	return out, nil
}
