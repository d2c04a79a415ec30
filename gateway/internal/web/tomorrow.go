package web

import (
	"context"
	"errors"
	"io"
	"net/url"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// showTomorrow shows the newest match of a day: who is short and why, what is offered and
// ordered with its uncertainty, what is left, and who packs what for whom.
func (p *Pages) showTomorrow(v *visit, f *form) (view, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return view{}, err
	}
	t := tomorrow{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Form: f}
	var (
		match  *orderv1.Match
		pins   *orderv1.ListPinsResponse
		supply *harvestv1.GetSupplyResponse
		names  names
	)
	err = together(v.ctx,
		func(ctx context.Context) (err error) {
			match, err = p.order.GetMatch(ctx, &orderv1.GetMatchRequest{DeliveryDate: day})
			return unless(fault.NotFound, err)
		},
		ask(&supply, p.harvest.GetSupply, &harvestv1.GetSupplyRequest{FromDate: day, ToDate: day}),
		ask(&pins, p.order.ListPins, &orderv1.ListPinsRequest{DeliveryDate: day}),
		p.naming(&names, farmNames|customerNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	t.Pins = pinRows(pins.GetPins(), names, f)
	if match != nil {
		t.money = func(minor int64) string { return v.words.Money(minor, v.coop.GetCurrencyCode()) }
		t.fill(v, match, supply, names)
		if at := match.GetRunAt(); at != nil {
			t.RunAt = v.words.Instant(at.AsTime(), v.zone)
		}
		if as := match.GetSupplyAsOf(); as != nil {
			t.SupplyAsOf = v.words.Instant(as.AsTime(), v.zone)
		}
	} else {
		t.ExpectedCount = int64(len(supply.GetDays()))
	}
	return view{template: "tomorrow", title: "tomorrow.title", data: t, live: liveTomorrow(day, match.GetEtag(), supply)}, nil
}

// unless lets an error of a kind pass as none.
func unless(kind fault.Kind, err error) error {
	if err != nil && fault.KindOf(err) == kind {
		return nil
	}
	return err
}

// runMatch runs the match of a day and shows it.
func (p *Pages) runMatch(v *visit) (view, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return view{}, err
	}
	steps, err := p.order.RunMatch(v.ctx, &orderv1.RunMatchRequest{RequestId: v.r.PostFormValue("request_id"), DeliveryDate: day})
	if err != nil {
		return view{}, err
	}
	for {
		if _, err := steps.Recv(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return view{}, err
		}
	}
	return view{goTo: "/tomorrow?day=" + url.QueryEscape(day)}, nil
}

// confirmMatch makes the match binding that the coordinator has read.
func (p *Pages) confirmMatch(v *visit) (view, error) {
	match, err := p.order.ConfirmMatch(v.ctx, &orderv1.ConfirmMatchRequest{
		RequestId: v.r.PostFormValue("request_id"), MatchId: v.r.PostFormValue("match_id"), Etag: v.r.PostFormValue("etag"),
	})
	if err != nil {
		return view{}, err
	}
	return view{goTo: "/tomorrow?day=" + url.QueryEscape(match.GetDeliveryDate())}, nil
}
