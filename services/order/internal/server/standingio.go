package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/standing"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

// knownForStanding reads the customers and products that standing orders name.
func knownForStanding(ctx context.Context, tx pgx.Tx, given []*orderv1.StandingOrder) (catalogue, error) {
	named := make([]*orderv1.Order, len(given))
	for i, m := range given {
		named[i] = &orderv1.Order{CustomerId: m.GetCustomerId()}
		for _, l := range m.GetLines() {
			named[i].Lines = append(named[i].Lines, &orderv1.OrderLine{ProductId: l.GetProductId()})
		}
	}
	return knownFor(ctx, tx, named)
}

// standingIn reads a standing order and refuses what makes no sense in it.
func standingIn(m *orderv1.StandingOrder, path string, known catalogue) (store.StandingOrder, error) {
	o := store.StandingOrder{ID: m.GetStandingOrderId(), Customer: m.GetCustomerId(), From: m.GetFromDate(), Paused: m.GetPaused()}
	if _, there := known.customers[o.Customer]; !there {
		return o, fault.InvalidField(path+".customer_id", "there is no customer %q: save it first", o.Customer)
	}
	if _, err := dayNumber(path+".from_date", o.From); err != nil {
		return o, err
	}
	if m.GetUntilDate() != "" {
		if _, err := dayNumber(path+".until_date", m.GetUntilDate()); err != nil {
			return o, err
		}
		o.Until = &m.UntilDate
	}
	for i, l := range m.GetLines() {
		if _, there := known.products[l.GetProductId()]; !there {
			return o, fault.InvalidField(fmt.Sprintf("%s.lines[%d].product_id", path, i), "there is no product %q: save it first", l.GetProductId())
		}
		line := store.StandingLine{Product: l.GetProductId(), Packs: l.GetPacks(), Smallest: l.GetSmallestPacks()}
		for _, d := range l.GetWeekdays() {
			line.Weekdays |= int32(standing.Week(0).On(int(d)))
		}
		o.Lines = append(o.Lines, line)
	}
	for i, e := range m.GetExceptions() {
		rest := store.StandingRest{From: e.GetFromDate(), Until: cmp.Or(e.GetUntilDate(), e.GetFromDate()), Note: e.GetNote()}
		if _, err := dayNumber(fmt.Sprintf("%s.exceptions[%d].from_date", path, i), rest.From); err != nil {
			return o, err
		}
		if _, err := dayNumber(fmt.Sprintf("%s.exceptions[%d].until_date", path, i), rest.Until); err != nil {
			return o, err
		}
		o.Rests = append(o.Rests, rest)
	}
	var problem *standing.Problem
	if err := standingRule(o).Check(); errors.As(err, &problem) {
		return o, fault.InvalidField(path+"."+problem.Field, "%s", problem.Text).WithCause(err)
	}
	slices.SortFunc(o.Rests, func(a, b store.StandingRest) int { return cmp.Compare(a.From, b.From) })
	return o, nil
}

// standingRule is a stored standing order as the rules see it. Its dates were seen to be ones.
func standingRule(o store.StandingOrder) standing.Order {
	r := standing.Order{ID: o.ID, From: numberOf(o.From), Until: standing.NoEnd, Paused: o.Paused, Ended: o.Ended}
	if o.Until != nil {
		r.Until = numberOf(*o.Until)
	}
	for _, l := range o.Lines {
		r.Lines = append(r.Lines, standing.Line{Product: l.Product, Packs: l.Packs, Smallest: l.Smallest, Week: standing.Week(l.Weekdays)})
	}
	for _, each := range o.Rests {
		r.Rests = append(r.Rests, standing.Rest{From: numberOf(each.From), Until: numberOf(each.Until)})
	}
	return r
}

// numberOf counts a date that the store or a check has seen to be one.
func numberOf(date string) int {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		panic(fmt.Sprintf("order: date %q was not checked: %v", date, err))
	}
	return int(day.Unix() / (24 * 60 * 60))
}

// dateOf is the date of a day number.
func dateOf(day int) string {
	return time.Unix(int64(day)*24*60*60, 0).UTC().Format(time.DateOnly)
}

// sameStanding tells whether two standing orders say the same, whoever said it.
func sameStanding(a, b store.StandingOrder) bool {
	return a.ID == b.ID && a.Customer == b.Customer && a.From == b.From && sameText(a.Until, b.Until) && a.Paused == b.Paused && a.Ended == b.Ended &&
		slices.Equal(a.Lines, b.Lines) && slices.Equal(a.Rests, b.Rests)
}

// sameText compares texts that may be absent.
func sameText(a, b *string) bool { return a == b || (a != nil && b != nil && *a == *b) }

func standingOut(o store.StandingOrder) *orderv1.StandingOrder {
	m := &orderv1.StandingOrder{
		StandingOrderId: o.ID, CustomerId: o.Customer, FromDate: o.From, Paused: o.Paused, Ended: o.Ended,
		Version: o.Version, Etag: etag(o.Version), ChangedBy: o.By, ChangedAt: timestamppb.New(o.At),
	}
	if o.Until != nil {
		m.UntilDate = *o.Until
	}
	for _, l := range o.Lines {
		line := &orderv1.StandingLine{ProductId: l.Product, Packs: l.Packs, SmallestPacks: l.Smallest}
		for d := orderv1.Weekday_WEEKDAY_MONDAY; d <= orderv1.Weekday_WEEKDAY_SUNDAY; d++ {
			if standing.Week(l.Weekdays).Has(int(d)) {
				line.Weekdays = append(line.Weekdays, d)
			}
		}
		m.Lines = append(m.Lines, line)
	}
	for _, r := range o.Rests {
		e := &orderv1.StandingException{FromDate: r.From, Note: r.Note}
		if r.Until != r.From {
			e.UntilDate = r.Until
		}
		m.Exceptions = append(m.Exceptions, e)
	}
	return m
}
