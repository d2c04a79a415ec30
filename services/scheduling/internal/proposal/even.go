package proposal

import (
	"breakshare.example/services/scheduling/internal/fillplan"
)

// A plan's evenness depends on all its fills together: what a farm bears beyond its
// part by member shares, and the work that falls into weeks beyond what a farm can
// do. The planner weighs fills one by one, so it is led there by prices: those that
// the last plan's unevenness puts on each farm's grams and on each farm's minutes in
// a week, each round's prices drawn halfway to the new ones.

// band is the part of a fair share, or of a limit, over which a price rises from
// nothing to the whole: without it plans would swing from one side to the other.
const band = 10

// mostCharge bounds the charge of one fill, in thousandths of a cent: a million of a
// currency's units, more than any fill is worth.
const mostCharge = 100_000_000_000

// Even reports whether evenness is wished for.
func (p *Problem) Even() bool {
	w := p.c.Wishes
	return w.BalanceCentsPerKg > 0 || w.FarmMinutes > 0 && w.PeakPerHour > 0
}

// UnevenM is what a plan's unevenness costs, in thousandths of a cent: each
// kilogram that a farm bears beyond its part of the whole by member shares, and
// each hour of a week beyond what the farm can do.
func (p *Problem) UnevenM(fills []fillplan.Fill) int64 {
	grams, minutes := p.borne(fills)
	var total int64
	for i, fair := range p.fair(grams) {
		total += max(0, grams[i]-fair) * p.c.Wishes.BalanceCentsPerKg
	}
	if limit := p.c.Wishes.FarmMinutes; limit > 0 {
		for _, weeks := range minutes {
			for _, m := range weeks {
				total += max(0, m-limit) * p.c.Wishes.PeakPerHour * milli / 60
			}
		}
	}
	return total
}

// borne is what the crops that stay and a plan's fills bear by farm, in grams, and
// the work they ask for by farm and week, in minutes.
func (p *Problem) borne(fills []fillplan.Fill) (grams []int64, minutes [][]int64) {
	grams, minutes = p.committed(), p.committedWork()
	for _, f := range fills {
		farm := p.Instance.Rooms[f.Room].Farm
		grams[farm] += p.grams(f)
		p.work(minutes[farm], f)
	}
	return grams, minutes
}

// work adds a fill's minutes to weeks.
func (p *Problem) work(weeks []int64, f fillplan.Fill) {
	work(weeks, p.c.First.Add(-7*f.Week), p.c.Programmes[f.Programme], p.Instance.Rooms[f.Room].Area, p.usual[f.Programme])
}

// fair is each farm's part of all grams by member shares.
func (p *Problem) fair(grams []int64) []int64 {
	var all, shares int64
	for i, f := range p.c.Farms {
		all, shares = all+grams[i], shares+f.Shares
	}
	out := make([]int64, len(grams))
	for i, f := range p.c.Farms {
		if shares > 0 {
			out[i] = all / shares * f.Shares
		}
	}
	return out
}

// evenPrices are thousandths of a cent: of a gram by farm, of an hour by farm and
// week.
type evenPrices struct {
	gram []int64
	hour [][]int64
}

// Evener returns the problem with each fill charged by what the plan's unevenness
// makes it cost or save.
func (p *Problem) Evener(fills []fillplan.Fill) *Problem {
	next := p.pricesAt(fills)
	if last := p.even; last != nil {
		for i := range next.gram {
			next.gram[i] = (next.gram[i] + last.gram[i]) / 2
			for w := range next.hour[i] {
				next.hour[i][w] = (next.hour[i][w] + last.hour[i][w]) / 2
			}
		}
	}
	out, wishes := *p, *p.Wishes
	wishes.ChargeM = map[fillplan.Fill]int64{}
	for r, room := range p.Instance.Rooms {
		for _, prog := range room.Programmes {
			for w := room.Free; w < p.c.Weeks; w++ {
				f := fillplan.Fill{Room: r, Programme: prog, Week: w}
				charge := p.grams(f) * next.gram[room.Farm]
				minutes := make([]int64, p.c.Weeks)
				p.work(minutes, f)
				for at, m := range minutes {
					charge += m * next.hour[room.Farm][at] / 60
				}
				if charge != 0 {
					wishes.ChargeM[f] = max(-mostCharge, min(charge, mostCharge))
				}
			}
		}
	}
	out.Wishes, out.even = &wishes, next
	return &out
}

// pricesAt are the prices that a plan's unevenness makes: a farm beyond its part
// pays for a gram more, and all are credited with what a gram more adds to the part
// of those beyond.
func (p *Problem) pricesAt(fills []fillplan.Fill) *evenPrices {
	grams, minutes := p.borne(fills)
	out := &evenPrices{gram: make([]int64, len(grams)), hour: rows(len(grams), p.c.Weeks)}
	var credit, shares int64
	for _, f := range p.c.Farms {
		shares += f.Shares
	}
	for i, fair := range p.fair(grams) {
		out.gram[i] = within(p.c.Wishes.BalanceCentsPerKg, grams[i]-fair, fair/band)
		if shares > 0 {
			credit += out.gram[i] * p.c.Farms[i].Shares / shares
		}
		if limit := p.c.Wishes.FarmMinutes; limit > 0 {
			for w, m := range minutes[i] {
				out.hour[i][w] = within(p.c.Wishes.PeakPerHour*milli, m-limit, limit/band)
			}
		}
	}
	for i := range out.gram {
		out.gram[i] -= credit
	}
	return out
}

// within is the part of a price at which something stands in a band.
func within(price, beyond, band int64) int64 {
	switch {
	case beyond <= 0:
		return 0
	case beyond >= band:
		return price
	}
	return price * beyond / band
}
