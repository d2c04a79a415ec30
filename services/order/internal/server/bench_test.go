package server_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/ids"
)

// largeDay stores a day of so many lots and lines, of forty products, ten lines to an order,
// with a little less offered than ordered.
func largeDay(b *testing.B, r *rig, lots, lines int) {
	b.Helper()
	const products, perOrder = 40, 10
	catalogue := &orderv1.BatchSaveProductsRequest{RequestId: ids.New()}
	for i := range products {
		catalogue.Products = append(catalogue.Products, product(fmt.Sprintf("product-%02d", i)))
	}
	must[*orderv1.BatchSaveProductsResponse](b)(r.BatchSaveProducts(r.office(b), catalogue))
	kitchens := &orderv1.BatchSaveCustomersRequest{RequestId: ids.New()}
	orders := &orderv1.BatchPlaceOrdersRequest{RequestId: ids.New()}
	for i := range lines / perOrder {
		id := fmt.Sprintf("kitchen-%05d", i)
		kitchens.Customers = append(kitchens.Customers, customer(id, int32(i%3+1)))
		o := &orderv1.Order{CustomerId: id, DeliveryDate: tomorrow}
		for j := range perOrder {
			o.Lines = append(o.Lines, &orderv1.OrderLine{ProductId: fmt.Sprintf("product-%02d", (i+4*j)%products), Packs: int64(i%7 + 1)})
		}
		orders.Orders = append(orders.Orders, o)
	}
	must[*orderv1.BatchSaveCustomersResponse](b)(r.BatchSaveCustomers(r.office(b), kitchens))
	must[*orderv1.BatchPlaceOrdersResponse](b)(r.BatchPlaceOrders(r.office(b), orders))
	r.in(b, func(ctx context.Context, tx pgx.Tx) error {
		for i := range lots {
			grams := int64(lines) * 3900 / int64(lots)
			if err := store.KeepExpected(ctx, tx, store.Expected{
				Lot: fmt.Sprintf("lot-%05d", i), Farm: fmt.Sprintf("farm-%02d", i%60), Room: fmt.Sprintf("room-%04d", i/2),
				Product: fmt.Sprintf("product-%02d", i%products), Day: tomorrow, LowGrams: grams, LikelyGrams: grams, HighGrams: grams,
				Version: 1, PushedAt: noon,
			}, noon); err != nil {
				return err
			}
		}
		return nil
	})
}

// From rows in the database to the stored match and its message.
func BenchmarkRunMatch(b *testing.B) {
	for _, size := range []struct{ lots, lines int }{{100, 1000}, {1000, 10000}} {
		b.Run(fmt.Sprintf("%dx%d", size.lots, size.lines), func(b *testing.B) {
			r := newRig(b)
			largeDay(b, r, size.lots, size.lines)
			var micros int64
			for b.Loop() {
				micros += r.matched(b, tomorrow).GetProof().GetSolveMicros()
			}
			b.ReportMetric(float64(micros)/float64(b.N)/1000, "solve-ms/op")
		})
	}
}

// A rebalance of the confirmed match, from rows to the stored proposal, each time with one lot in a
// hundred changed. first-ms is what the solver took for the day's match, solve-ms for a rebalance.
func BenchmarkRebalance(b *testing.B) {
	r := newRig(b)
	largeDay(b, r, 1000, 10000)
	stood := r.confirm(b, r.matched(b, tomorrow))
	again := func() int64 {
		resp, err := r.rebalance(b, r.office(b), &orderv1.RebalanceRequest{RequestId: ids.New(), DeliveryDate: tomorrow})
		if err != nil {
			b.Fatal(err)
		}
		return resp.GetMatch().GetProof().GetSolveMicros()
	}
	again()
	var micros int64
	for turn := int64(2); b.Loop(); turn++ {
		b.StopTimer()
		r.in(b, func(ctx context.Context, tx pgx.Tx) error {
			for i := range 10 {
				lot := (i*97 + int(turn)) % 1000
				grams := int64(39000 - 3900*(turn%2))
				if err := store.KeepExpected(ctx, tx, store.Expected{
					Lot: fmt.Sprintf("lot-%05d", lot), Farm: fmt.Sprintf("farm-%02d", lot%60), Room: fmt.Sprintf("room-%04d", lot/2),
					Product: fmt.Sprintf("product-%02d", lot%40), Day: tomorrow, LowGrams: grams, LikelyGrams: grams, HighGrams: grams,
					Version: turn, PushedAt: noon,
				}, noon); err != nil {
					return err
				}
			}
			return nil
		})
		b.StartTimer()
		micros += again()
	}
	b.ReportMetric(float64(micros)/float64(b.N)/1000, "solve-ms/op")
	b.ReportMetric(float64(stood.GetProof().GetSolveMicros())/1000, "first-ms")
}
