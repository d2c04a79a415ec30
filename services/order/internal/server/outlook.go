package server

import (
	"cmp"
	"context"
	"slices"

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
		l, err := loadDay(ctx, tx, req.GetDeliveryDate(), number)
		if err != nil {
			return err
		}
		out.SupplyAsOf = instant(l.asOf)
		matched, basis, err := newestLines(ctx, tx, req.GetDeliveryDate())
		if err != nil {
			return err
		}
		out.Lines = likelyLines(l.day, customer, matched, basis)
		return nil
	})
	return out, err
}

// newestLines are the lines of the confirmed match of a day, or of the newest that was run.
func newestLines(ctx context.Context, tx pgx.Tx, day string) (map[lineOf]*orderv1.MatchLine, orderv1.LikelyBasis, error) {
	head, found, err := store.NewestMatch(ctx, tx, day)
	if err != nil || !found {
		return nil, orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED, err
	}
	m, err := store.WithRows(ctx, tx, head)
	if err != nil {
		return nil, orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED, err
	}
	lines := make(map[lineOf]*orderv1.MatchLine, len(m.Lines))
	for _, l := range matchOut(m).GetLines() {
		lines[lineOf{l.GetOrderId(), l.GetProductId()}] = l
	}
	if head.State == store.Confirmed {
		return lines, orderv1.LikelyBasis_LIKELY_BASIS_CONFIRMED, nil
	}
	return lines, orderv1.LikelyBasis_LIKELY_BASIS_PROPOSED, nil
}

// likelyLines are the lines of a customer, or of all where none is named, by customer, order and
// product. A line that was changed since the match, or is not in it, is estimated.
func likelyLines(day match.Day, customer string, matched map[lineOf]*orderv1.MatchLine, basis orderv1.LikelyBasis) []*orderv1.LikelyLine {
	estimated := estimates(day)
	var out []*orderv1.LikelyLine
	for _, l := range day.Lines {
		if customer != "" && l.Customer != customer {
			continue
		}
		line := &orderv1.LikelyLine{OrderId: l.Order, CustomerId: l.Customer, ProductId: l.Product, Ordered: l.Packs}
		if m := matched[lineOf{l.Order, l.Product}]; m != nil && m.GetOrdered() == l.Packs {
			line.Likely, line.Reason, line.Basis = m.GetMatched(), likelyReasons[m.GetReason()], basis
		} else {
			e := estimated[lineOf{l.Order, l.Product}]
			line.Likely, line.Reason, line.Basis = e.Packs, estimatedReasons[e.Reason], orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED
		}
		out = append(out, line)
	}
	slices.SortFunc(out, func(a, b *orderv1.LikelyLine) int {
		return cmp.Or(cmp.Compare(a.GetCustomerId(), b.GetCustomerId()), cmp.Compare(a.GetOrderId(), b.GetOrderId()), cmp.Compare(a.GetProductId(), b.GetProductId()))
	})
	return out
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
