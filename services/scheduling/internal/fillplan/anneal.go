package fillplan

import (
	"math"
	"math/rand/v2"
)

// search looks for good plans by annealing in cycles: each lets the plan grow
// cold from a temperature at which it is nearly forgotten, and lasts twice as
// long as the one before, up to a limit.
type search struct {
	s   *state
	rng *rand.Rand
	// hot and cold are the first and last temperature of a cycle, in millicents.
	hot, cold float64
	// length is the number of room steps of this cycle, done those made, most the
	// longest cycle; steps and cycles count them all.
	length, done, most int64
	steps, cycles      int64
	order              []int
	buffer             []choice
	// best is the plan of least total met, by room; total its total.
	best  [][]choice
	total int64
	// work is the work done, in about a nanosecond each, and improved the cycles that
	// had ended when the best plan was met.
	work, improved int64
}

const (
	// firstCycle and longestCycle are the steps of a cycle, in all and per room.
	firstCycle   = 20_000
	longestCycle = 40_000
	// swapsPerStep is how many exchanges are tried for each timeline drawn.
	swapsPerStep = 8
	// hotPart and coldPart are the temperatures as parts of what the yield of a
	// fill is worth; found by trial.
	hotPart, coldPart = 0.25, 0.003
)

func newSearch(p *problem, seed uint64) *search {
	a := &search{s: newState(p), rng: rand.New(rand.NewPCG(seed, 0x6d757368726f6f6d)), length: firstCycle}
	a.most = max(firstCycle, longestCycle*int64(len(p.rooms)))
	worth, slots := 0.0, 0
	for r := range p.rooms {
		a.order = append(a.order, r)
		for k := range p.rooms[r].slots {
			slots++
			for _, l := range p.rooms[r].slots[k].lumps {
				worth += float64(l.grams) * float64(max(l.short, l.over))
			}
		}
	}
	worth = max(worth/float64(max(1, slots)), 1000)
	a.hot, a.cold = hotPart*worth, coldPart*worth
	a.best = make([][]choice, len(p.rooms))
	a.keep()
	return a
}

// keep remembers the current plan as the best.
func (a *search) keep() {
	a.total, a.improved = a.s.total, a.cycles
	for r, timeline := range a.s.rooms {
		a.best[r] = append(a.best[r][:0], timeline...)
	}
}

// staleCycles is how many whole cycles must have brought nothing better for the
// search to count as stale.
const staleCycles = 2

// stale tells that the search has found nothing better for long.
func (a *search) stale() bool { return a.cycles > a.improved+staleCycles }

// consider keeps the current plan if it is better than the best, or as good and
// first by the tie rule.
func (a *search) consider() {
	if a.s.total < a.total {
		a.keep()
	} else if a.s.total == a.total && Before(a.s.p.fillsOf(a.s.rooms), a.s.p.fillsOf(a.best)) {
		a.keep()
	}
}

// sweep makes one step in every room, at most limit, and ends the cycle when it
// is due.
func (a *search) sweep(limit int64) {
	s := a.s
	if len(a.order) == 0 {
		// There is nothing to search; let the bounder have its turns.
		a.steps++
		a.cycles++
		a.work += quantum
		return
	}
	temperature := a.hot * math.Pow(a.cold/a.hot, float64(a.done)/float64(a.length))
	a.rng.Shuffle(len(a.order), func(i, j int) { a.order[i], a.order[j] = a.order[j], a.order[i] })
	for _, r := range a.order[:min(int64(len(a.order)), limit)] {
		s.lift(r)
		s.price(r)
		a.buffer = s.draw(r, temperature, a.rng, a.buffer[:0])
		s.place(r, a.buffer)
		a.count(r)
		for range swapsPerStep {
			if other := a.rng.IntN(len(a.order)); other != r {
				s.trySwap(r, other, temperature, a.rng)
			}
		}
		if s.total < a.total {
			a.keep()
		}
	}
	if a.done >= a.length {
		a.descend()
		a.consider()
		a.done = 0
		a.cycles++
		a.length = min(2*a.length, a.most)
	}
}

func (a *search) count(r int) {
	a.steps++
	a.done++
	a.work += int64(25*len(a.s.p.rooms[r].slots)*a.s.p.weeks + 1000)
}

// descend replans room after room by shortest paths until none improves.
func (a *search) descend() {
	for improved := true; improved; {
		improved = false
		for r := range a.s.rooms {
			before := a.s.total
			a.s.lift(r)
			a.s.price(r)
			a.buffer = a.s.best(r, a.buffer[:0])
			a.s.place(r, a.buffer)
			a.count(r)
			improved = improved || a.s.total < before
		}
	}
}

// fillsOf lists timelines as fills in canonical order.
func (p *problem) fillsOf(rooms [][]choice) []Fill {
	var fills []Fill
	for r, timeline := range rooms {
		for _, c := range timeline {
			fills = append(fills, Fill{Room: r, Programme: p.rooms[r].slots[c.slot].programme, Week: c.week})
		}
	}
	return fills
}
