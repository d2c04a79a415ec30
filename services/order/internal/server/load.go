package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
)

// loaded is a day as it stands in the database.
type loaded struct {
	day match.Day
	// asOf is when the newest figure of the supply was told; nil where there is none.
	asOf *time.Time
}

// loadDay reads supply and orders of a day.
func loadDay(ctx context.Context, tx pgx.Tx, date string, number int) (loaded, error) {
	// In this order, what is named by something read is read after it.
	sent, err := store.SentForDay(ctx, tx, date)
	if err != nil {
		return loaded{}, err
	}
	orders, err := store.OrdersOfDay(ctx, tx, date, "")
	if err != nil {
		return loaded{}, err
	}
	left := make([]string, len(sent))
	for i, s := range sent {
		left[i] = s.Lot
	}
	lots, err := store.LotsForDay(ctx, tx, date, left)
	if err != nil {
		return loaded{}, err
	}
	customers, err := store.Customers(ctx, tx)
	if err != nil {
		return loaded{}, err
	}
	products, err := store.Products(ctx, tx)
	if err != nil {
		return loaded{}, err
	}
	byID := make(map[string]store.Product, len(products))
	l := loaded{day: match.Day{Number: number}}
	for _, p := range products {
		byID[p.ID] = p
		l.day.Products = append(l.day.Products, match.Product{ID: p.ID, Name: p.Name, ShelfLife: int(p.ShelfLifeDays)})
	}
	for _, lot := range lots {
		l.day.Lots = append(l.day.Lots, lotFor(lot, byID[lot.Product]))
		if l.asOf == nil || lot.ToldAt.After(*l.asOf) {
			l.asOf = &lot.ToldAt
		}
	}
	class := make(map[string]int, len(customers))
	for _, c := range customers {
		class[c.ID] = int(c.Class)
	}
	l.day.Lines = linesFor(orders, class, byID)
	for _, s := range sent {
		l.day.Sent = append(l.day.Sent, match.Sent{Order: s.Order, Product: s.Product, Lot: s.Lot, Packs: s.Packs})
	}
	return l, nil
}

// lotFor counts the whole packs of a lot that are not bound to other days.
func lotFor(lot store.Lot, p store.Product) match.Lot {
	l := match.Lot{
		ID: lot.ID, Farm: lot.Farm, Room: lot.Room, Product: lot.Product, PickDay: lot.PickDay, Held: lot.Held,
		Packs: max(0, lot.Grams/p.PackGrams-lot.OtherDays),
	}
	if lot.CarryCostMinorPerKg != nil {
		l.Carry = match.Carry{Known: true, Milli: *lot.CarryCostMinorPerKg * p.PackGrams}
	}
	return l
}

// linesFor are the lines of the orders that are not cancelled.
func linesFor(orders []store.Order, class map[string]int, products map[string]store.Product) []match.Line {
	var lines []match.Line
	for _, o := range orders {
		if o.State == store.Cancelled {
			continue
		}
		for _, l := range o.Lines {
			lines = append(lines, match.Line{
				Order: o.ID, Customer: o.Customer, Product: l.Product, Class: class[o.Customer],
				Packs: l.Packs, Value: products[l.Product].PackValueMinor,
			})
		}
	}
	return lines
}
