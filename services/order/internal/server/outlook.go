package server

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/outlook"
	"breakshare.example/services/order/internal/store"
)

// GetDayOutlook implements OrderService. What a buyer is told of a line follows from the line, and
// names nobody else.
func (s *Server) GetDayOutlook(ctx context.Context, req *orderv1.GetDayOutlookRequest) (*orderv1.DayOutlook, error) {
	customer, err := customerAsked(ctx, req.GetCustomerId())
	if err != nil {
		return nil, err
	}
	number, err := dayNumber("delivery_date", req.GetDeliveryDate())
	if err != nil {
		return nil, err
	}
	out := &orderv1.DayOutlook{DeliveryDate: req.GetDeliveryDate()}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		orders, err := store.OrdersOfDay(ctx, tx, out.GetDeliveryDate(), customer)
		if err != nil {
			return err
		}
		met, basis, err := newestLines(ctx, tx, out, customer)
		if err != nil {
			return err
		}
		out.Lines = likelyLines(orders, met, basis)
		if !slices.ContainsFunc(out.GetLines(), isEstimated) {
			return nil
		}
		return estimate(ctx, tx, out, number)
	})
	return out, err
}

// newestLines are a customer's lines in the confirmed match of the day, or in the newest that was
// run; none where none was. It sets as of when their supply is.
func newestLines(ctx context.Context, tx pgx.Tx, out *orderv1.DayOutlook, customer string) (map[lineOf]store.MetLine, orderv1.LikelyBasis, error) {
	head, found, err := store.NewestMatch(ctx, tx, out.GetDeliveryDate())
	if err != nil || !found {
		return nil, 0, err
	}
	out.SupplyAsOf = instant(head.SupplyAsOf)
	lines, err := store.MetLines(ctx, tx, head.ID, customer)
	met := make(map[lineOf]store.MetLine, len(lines))
	for _, l := range lines {
		met[lineOf{l.Order, l.Product}] = l
	}
	if head.State == store.Confirmed {
		return met, orderv1.LikelyBasis_LIKELY_BASIS_CONFIRMED, err
	}
	return met, orderv1.LikelyBasis_LIKELY_BASIS_PROPOSED, err
}

// likelyLines are the lines of orders that are not cancelled, by customer, order and product. A line
// that was changed since the match, or is not in it, is to be estimated.
func likelyLines(orders []store.Order, met map[lineOf]store.MetLine, basis orderv1.LikelyBasis) []*orderv1.LikelyLine {
	var out []*orderv1.LikelyLine
	for _, o := range orders {
		if o.State == store.Cancelled {
			continue
		}
		for _, l := range o.Lines {
			line := &orderv1.LikelyLine{OrderId: o.ID, CustomerId: o.Customer, ProductId: l.Product, Ordered: l.Packs, Basis: orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED}
			if m, there := met[lineOf{o.ID, l.Product}]; there && m.Ordered == l.Packs {
				line.Likely, line.Reason, line.Basis = m.Matched, likelyReasons[reasonOut[m.Reason]], basis
			}
			out = append(out, line)
		}
	}
	slices.SortFunc(out, func(a, b *orderv1.LikelyLine) int {
		return cmp.Or(cmp.Compare(a.GetCustomerId(), b.GetCustomerId()), cmp.Compare(a.GetOrderId(), b.GetOrderId()), cmp.Compare(a.GetProductId(), b.GetProductId()))
	})
	return out
}

func isEstimated(l *orderv1.LikelyLine) bool {
	return l.GetBasis() == orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED
}

// estimate fills in what no match says.
func estimate(ctx context.Context, tx pgx.Tx, out *orderv1.DayOutlook, number int) error {
	day, asOf, err := offeredAndOrdered(ctx, tx, out.GetDeliveryDate(), number)
	if err != nil {
		return err
	}
	out.SupplyAsOf = instant(asOf)
	estimated := estimates(day)
	for _, l := range out.GetLines() {
		if isEstimated(l) {
			e := estimated[lineOf{l.GetOrderId(), l.GetProductId()}]
			l.Likely, l.Reason = e.Packs, estimatedReasons[e.Reason]
		}
	}
	return nil
}

// offeredAndOrdered reads the lots and lines of a day, and nothing else of it.
func offeredAndOrdered(ctx context.Context, tx pgx.Tx, date string, number int) (day match.Day, asOf *time.Time, err error) {
	r := rows{date: date, byID: make(map[string]store.Product)}
	if r.orders, err = store.OrdersOfDay(ctx, tx, date, ""); err != nil {
		return day, nil, err
	}
	if r.lots, err = store.LotsForDay(ctx, tx, date, nil); err != nil {
		return day, nil, err
	}
	if r.customers, err = store.Customers(ctx, tx); err != nil {
		return day, nil, err
	}
	if r.products, err = store.Products(ctx, tx); err != nil {
		return day, nil, err
	}
	if _, r.settings, err = settingsNow(ctx, tx); err != nil {
		return day, nil, err
	}
	l := loaded{day: match.Day{Number: number}}
	for _, p := range r.products {
		r.byID[p.ID] = p
		l.day.Products = append(l.day.Products, match.Product{ID: p.ID, ShelfLife: int(p.ShelfLifeDays)})
	}
	if err := l.addLots(r, number); err != nil {
		return day, nil, err
	}
	l.day.Lines, err = linesFor(r)
	return l.day, l.asOf, err
}

// likelyReasons says of a match's reasons what concerns the line itself: whom it came after is the
// others' affair.
var likelyReasons = map[orderv1.ShortReason]orderv1.LikelyReason{
	orderv1.ShortReason_SHORT_REASON_NOT_OFFERED:    orderv1.LikelyReason_LIKELY_REASON_NOT_OFFERED,
	orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS:   orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH,
	orderv1.ShortReason_SHORT_REASON_SAME_CLASS:     orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH,
	orderv1.ShortReason_SHORT_REASON_NOT_FIT:        orderv1.LikelyReason_LIKELY_REASON_NOT_FIT,
	orderv1.ShortReason_SHORT_REASON_NOT_ENOUGH:     orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH,
	orderv1.ShortReason_SHORT_REASON_EXCLUDED:       orderv1.LikelyReason_LIKELY_REASON_OWN_WISHES,
	orderv1.ShortReason_SHORT_REASON_NOT_PROMISED:   orderv1.LikelyReason_LIKELY_REASON_NOT_SURE,
	orderv1.ShortReason_SHORT_REASON_TOO_FEW_OF_USE: orderv1.LikelyReason_LIKELY_REASON_TOO_FEW_OF_USE,
	orderv1.ShortReason_SHORT_REASON_BY_HAND:        orderv1.LikelyReason_LIKELY_REASON_DECIDED,
}

var estimatedReasons = map[outlook.Reason]orderv1.LikelyReason{
	outlook.NotOffered: orderv1.LikelyReason_LIKELY_REASON_NOT_OFFERED, outlook.NotFit: orderv1.LikelyReason_LIKELY_REASON_NOT_FIT,
	outlook.OwnWishes: orderv1.LikelyReason_LIKELY_REASON_OWN_WISHES, outlook.NotSure: orderv1.LikelyReason_LIKELY_REASON_NOT_SURE,
	outlook.NotEnough: orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH, outlook.TooFewOfUse: orderv1.LikelyReason_LIKELY_REASON_TOO_FEW_OF_USE,
}

// estimates reckons what every line of the day is likely to get. All customers' lines count, also
// where only some are told of.
func estimates(day match.Day) map[lineOf]outlook.Likely {
	life := make(map[string]int, len(day.Products))
	for _, p := range day.Products {
		life[p.ID] = p.ShelfLife
	}
	supply, fit := make(map[string]outlook.Supply), make(map[string][]match.Lot)
	for _, lot := range day.Lots {
		s := supply[lot.Product]
		if lot.FitOn(day.Number, life[lot.Product]) == match.Fits {
			s.Fit, s.Withheld = s.Fit+lot.Packs, s.Withheld+lot.Withheld
			fit[lot.Product] = append(fit[lot.Product], lot)
		} else {
			s.Unfit += lot.Packs
		}
		supply[lot.Product] = s
	}
	lines, of := make(map[string][]outlook.Line), make(map[string][]lineOf)
	for _, l := range day.Lines {
		lines[l.Product] = append(lines[l.Product], outlook.Line{
			ID: l.Order, Class: l.Class, Weight: l.Weight, Packs: l.Packs, Least: l.Least, Reach: reach(l, fit[l.Product]),
		})
		of[l.Product] = append(of[l.Product], lineOf{l.Order, l.Product})
	}
	out := make(map[lineOf]outlook.Likely, len(day.Lines))
	for product, all := range lines {
		for i, likely := range outlook.Estimate(supply[product], all) {
			out[of[product][i]] = likely
		}
	}
	return out
}

// reach counts the packs from farms whose packs the customer takes.
func reach(l match.Line, lots []match.Lot) int64 {
	var packs int64
	for _, lot := range lots {
		if (l.OnlyFrom == "" || l.OnlyFrom == lot.Farm) && !slices.Contains(l.NotFrom, lot.Farm) {
			packs += lot.Packs
		}
	}
	return packs
}
