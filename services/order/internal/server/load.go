package server

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/promise"
	"breakshare.example/services/order/internal/store"
)

// loaded is a day as it stands in the database.
type loaded struct {
	date string
	day  match.Day
	// asOf is when the newest figure of the supply was told; nil where there is none.
	asOf *time.Time
	// promised is by product what is likely and what pooling gained.
	promised map[string]promised
	// season is by farm what it offered and sold before the day.
	season map[string]store.MatchFarm
}

// promised is what is known of the promise of a product.
type promised struct {
	likely int64 // packs
	said   int64 // packs that growers said are likely
	gained int64 // grams
}

// rows are what a day is made of.
type rows struct {
	date      string
	sent      []store.Sent
	orders    []store.Order
	lots      []store.Lot
	customers []store.Customer
	products  []store.Product
	byID      map[string]store.Product
	settings  *orderv1.MatchSettings
	pins      []store.Pin
	currency  string
}

// readRows reads the rows of a day. In this order, what is named by something read is read after
// it.
func readRows(ctx context.Context, tx pgx.Tx, date string) (r rows, err error) {
	r.date = date
	if r.sent, err = store.SentForDay(ctx, tx, date); err != nil {
		return r, err
	}
	if r.pins, err = store.PinsOfDay(ctx, tx, date); err != nil {
		return r, err
	}
	if r.orders, err = store.OrdersOfDay(ctx, tx, date, ""); err != nil {
		return r, err
	}
	left := make([]string, len(r.sent))
	for i, s := range r.sent {
		left[i] = s.Lot
	}
	if r.lots, err = store.LotsForDay(ctx, tx, date, left); err != nil {
		return r, err
	}
	if r.customers, err = store.Customers(ctx, tx); err != nil {
		return r, err
	}
	if r.products, err = store.Products(ctx, tx); err != nil {
		return r, err
	}
	r.byID = make(map[string]store.Product, len(r.products))
	for _, p := range r.products {
		r.byID[p.ID] = p
	}
	if _, r.settings, err = settingsNow(ctx, tx); err != nil {
		return r, err
	}
	r.currency, err = store.CurrencyCode(ctx, tx)
	return r, err
}

// loadDay reads supply, orders and rules of a day.
func loadDay(ctx context.Context, tx pgx.Tx, date string, number int) (loaded, error) {
	r, err := readRows(ctx, tx, date)
	if err != nil {
		return loaded{}, err
	}
	l := loaded{date: date, day: match.Day{Number: number, Money: moneyIn(r.currency), Rules: rulesOf(r.settings)}}
	for _, p := range r.products {
		l.day.Products = append(l.day.Products, match.Product{
			ID: p.ID, Name: p.Name, Kind: p.Species, Grams: p.PackGrams, ShelfLife: int(p.ShelfLifeDays),
		})
	}
	if err := l.addLots(r, number); err != nil {
		return loaded{}, err
	}
	if l.day.Lines, err = linesFor(r); err != nil {
		return loaded{}, err
	}
	for _, s := range r.sent {
		l.day.Sent = append(l.day.Sent, match.Sent{Order: s.Order, Product: s.Product, Lot: s.Lot, Packs: s.Packs})
	}
	for _, p := range r.pins {
		l.day.Pins = append(l.day.Pins, pinFor(p))
	}
	for _, z := range r.settings.GetZoneCosts() {
		l.day.ZoneCosts = append(l.day.ZoneCosts, match.ZoneCost{Farm: z.GetFarmId(), Zone: z.GetZoneId(), MinorPerKg: z.GetMinorPerKg()})
	}
	return l, l.addFarms(ctx, tx, r)
}

// rulesOf are the rules of sharing.
func rulesOf(m *orderv1.MatchSettings) match.Rules {
	return match.Rules{
		Short: map[orderv1.ShortRule]match.ShortRule{
			orderv1.ShortRule_SHORT_RULE_BY_ORDERED: match.ShortByOrdered, orderv1.ShortRule_SHORT_RULE_IN_TURN: match.ShortInTurn,
		}[m.GetShortRule()],
		Left: map[orderv1.LeftRule]match.LeftRule{
			orderv1.LeftRule_LEFT_RULE_BY_SHARES: match.LeftByShares, orderv1.LeftRule_LEFT_RULE_BY_CARRY: match.LeftByCarry,
		}[m.GetLeftRule()],
	}
}

// addLots counts the whole packs of each lot that are promised and not bound to other days.
func (l *loaded) addLots(r rows, number int) error {
	held := make(map[string]bool)
	for _, f := range r.settings.GetHeldFarms() {
		held[f.GetFarmId()] = true
	}
	fits := make(map[string][]int)
	for i, lot := range r.lots {
		p := r.byID[lot.Product]
		m := match.Lot{
			ID: lot.ID, Farm: lot.Farm, Room: lot.Room, Product: lot.Product, PickDay: lot.PickDay, Held: lot.Held || held[lot.Farm],
			Packs: max(0, lot.Grams/p.PackGrams-lot.OtherDays),
		}
		if lot.KeepsUntil != nil {
			m.KeepsUntil = *lot.KeepsUntil
		}
		if lot.CarryCostMinorPerKg != nil {
			m.Carry = match.Carry{Known: true, Milli: *lot.CarryCostMinorPerKg * p.PackGrams}
		}
		if m.FitOn(number, int(p.ShelfLifeDays)) == match.Fits {
			fits[lot.Product] = append(fits[lot.Product], i)
		}
		l.day.Lots = append(l.day.Lots, m)
		if l.asOf == nil || lot.ToldAt.After(*l.asOf) {
			l.asOf = &lot.ToldAt
		}
	}
	l.promised = make(map[string]promised)
	for product, lots := range fits {
		if err := l.promise(r, product, lots); err != nil {
			return err
		}
	}
	return nil
}

// promise replaces the likely packs of the lots of a product by those that are promised, where
// the co-op has said what a promise costs.
func (l *loaded) promise(r rows, product string, at []int) error {
	var known promised
	for _, i := range at {
		known.likely += l.day.Lots[i].Packs
		known.said += max(0, r.lots[i].SaidGrams/r.byID[product].PackGrams-r.lots[i].OtherDays)
	}
	costs, set := costsOf(r.settings, product)
	if set {
		lots := make([]promise.Lot, len(at))
		for k, i := range at {
			lots[k] = promise.Lot{ID: r.lots[i].ID, Farm: r.lots[i].Farm, Low: r.lots[i].LowGrams, Likely: r.lots[i].Grams, High: r.lots[i].HighGrams}
		}
		p, err := promise.Pool(lots, costs, int(r.settings.GetCorrelationThousandths()))
		if err != nil {
			return fmt.Errorf("promise of %s: %w", product, err)
		}
		known.gained = p.Gained()
		for k, i := range at {
			packs := max(0, p.Grams[k]/r.byID[product].PackGrams-r.lots[i].OtherDays)
			l.day.Lots[i].Withheld = max(0, l.day.Lots[i].Packs-packs)
			l.day.Lots[i].Packs = packs
		}
	}
	l.promised[product] = known
	return nil
}

// costsOf are the costs of promises of a product: its own, or those for all.
func costsOf(m *orderv1.MatchSettings, product string) (c promise.Costs, set bool) {
	for _, p := range m.GetPromiseCosts() {
		if p.GetProductId() == product || (p.GetProductId() == "" && !set) {
			c, set = promise.Costs{Broken: p.GetBrokenMinorPerKg(), Unsold: p.GetUnsoldMinorPerKg()}, true
			if p.GetProductId() == product {
				return c, true
			}
		}
	}
	return c, set
}

// linesFor are the lines of the orders that are not cancelled.
func linesFor(r rows) ([]match.Line, error) {
	customers, wished := make(map[string]store.Customer, len(r.customers)), make(map[string]wishes, len(r.customers))
	for _, c := range r.customers {
		w, err := wishesOf(c)
		if err != nil {
			return nil, err
		}
		customers[c.ID], wished[c.ID] = c, w
	}
	accept := newAccepting(r.products, r.settings.GetGrades())
	var lines []match.Line
	for _, o := range r.orders {
		if o.State == store.Cancelled {
			continue
		}
		w := wished[o.Customer]
		for _, l := range o.Lines {
			lines = append(lines, match.Line{
				Order: o.ID, Customer: o.Customer, Product: l.Product, Class: int(customers[o.Customer].Class),
				Packs: l.Packs, Value: r.byID[l.Product].PackValueMinor, Least: l.Smallest,
				Instead: accept.instead(w, r.byID[l.Product]), NotFrom: w.NotFrom, OnlyFrom: w.OnlyFrom, OneFarm: w.OneFarm,
				Zone: w.Zone, Weight: w.Weight,
			})
		}
	}
	return lines, nil
}

// addFarms adds member shares, and how far the farms are ahead in the season.
func (l *loaded) addFarms(ctx context.Context, tx pgx.Tx, r rows) error {
	season, ahead, err := seasonBefore(ctx, tx, r.settings, r.date)
	if err != nil {
		return err
	}
	shares, err := store.MemberShares(ctx, tx)
	if err != nil {
		return err
	}
	l.season = make(map[string]store.MatchFarm, len(season))
	tilt := make(map[string]int64, len(season))
	for i, f := range season {
		l.season[f.Farm] = f
		tilt[f.Farm] = ahead[i] * int64(r.settings.GetSeasonTiltPercent()) / 100
	}
	seen := make(map[string]bool)
	for _, lot := range r.lots {
		if !seen[lot.Farm] {
			seen[lot.Farm] = true
			l.day.Farms = append(l.day.Farms, match.Farm{ID: lot.Farm, Shares: shares[lot.Farm], Ahead: tilt[lot.Farm]})
		}
	}
	return nil
}
