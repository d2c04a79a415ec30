package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"time"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// showTomorrow shows the newest match of a day: what is offered and ordered, who is short
// and why, what is left, and who packs what for whom.
func (p *Pages) showTomorrow(r *http.Request) (view, error) {
	ctx := r.Context()
	day, err := p.dayOf(ctx, r)
	if err != nil {
		return view{}, err
	}
	t := tomorrow{Day: day, RequestID: ids.New()}
	match, err := p.order.GetMatch(ctx, &orderv1.GetMatchRequest{DeliveryDate: day})
	switch {
	case fault.KindOf(err) == fault.NotFound && err != nil:
	case err != nil:
		return view{}, err
	default:
		names, err := p.names(ctx)
		if err != nil {
			return view{}, err
		}
		t.fill(match, names)
	}
	return view{template: "tomorrow", title: "Tomorrow", data: t}, nil
}

// dayOf is the day asked for, or tomorrow in the co-op's time zone.
func (p *Pages) dayOf(ctx context.Context, r *http.Request) (string, error) {
	if day := r.FormValue("day"); day != "" {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			return "", fault.InvalidField("day", "%q is not a day: write it like 2026-11-26", day)
		}
		return day, nil
	}
	coop, err := p.scheduling.GetCoop(ctx, &schedulingv1.GetCoopRequest{})
	if err != nil {
		return "", err
	}
	zone, err := time.LoadLocation(coop.GetTimeZone())
	if err != nil {
		return "", err
	}
	return p.clock.Now().In(zone).AddDate(0, 0, 1).Format(time.DateOnly), nil
}

// names are the words that people know things by.
type names struct {
	farms, customers, products map[string]string
	packGrams                  map[string]int64
}

func (p *Pages) names(ctx context.Context) (names, error) {
	n := names{farms: map[string]string{}, customers: map[string]string{}, products: map[string]string{}, packGrams: map[string]int64{}}
	farms, err := p.scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
	if err != nil {
		return n, err
	}
	for _, f := range farms.GetFarms() {
		n.farms[f.GetFarmId()] = f.GetName()
	}
	customers, err := p.order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
	if err != nil {
		return n, err
	}
	for _, c := range customers.GetCustomers() {
		n.customers[c.GetCustomerId()] = c.GetName()
	}
	products, err := p.order.ListProducts(ctx, &orderv1.ListProductsRequest{})
	if err != nil {
		return n, err
	}
	for _, product := range products.GetProducts() {
		n.products[product.GetProductId()] = product.GetName()
		n.packGrams[product.GetProductId()] = product.GetPackGrams()
	}
	return n, nil
}

// runMatch runs the match of a day and shows it.
func (p *Pages) runMatch(r *http.Request) (view, error) {
	day, err := p.dayOf(r.Context(), r)
	if err != nil {
		return view{}, err
	}
	steps, err := p.order.RunMatch(r.Context(), &orderv1.RunMatchRequest{RequestId: r.FormValue("request_id"), DeliveryDate: day})
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
func (p *Pages) confirmMatch(r *http.Request) (view, error) {
	match, err := p.order.ConfirmMatch(r.Context(), &orderv1.ConfirmMatchRequest{
		RequestId: r.FormValue("request_id"), MatchId: r.FormValue("match_id"), Etag: r.FormValue("etag"),
	})
	if err != nil {
		return view{}, err
	}
	return view{goTo: "/tomorrow?day=" + url.QueryEscape(match.GetDeliveryDate())}, nil
}
