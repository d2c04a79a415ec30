package release

import (
	"cmp"
	"slices"
)

// proof is a series with the judgement which of its readings can be proof.
type proof struct {
	Series
	sane Sanity
	ok   []bool
}

func (p proof) compare(o proof) int {
	return cmp.Or(cmp.Compare(p.Probe.Quantity, o.Probe.Quantity), cmp.Compare(p.Probe.ID, o.Probe.ID))
}

// find judges the probe on its readings from one instant to another.
func (p proof) find(c Criterion, from, to, at int64) ProbeFinding {
	f := ProbeFinding{Probe: p.Probe.ID, Quantity: p.Probe.Quantity}
	first, _ := slices.BinarySearch(p.Times, from)
	last, exact := slices.BinarySearch(p.Times, to)
	if exact {
		last++
	}
	last = max(first, last)
	if c.Test == EndsWithin {
		p.ends(c, &f, first, last, at)
	} else {
		p.holds(c, &f, first, last, from, to)
	}
	f.Faults = p.faults(first, last, from, to, c.Test != EndsWithin)
	return f
}

// stretch is a run of time that grows reading by reading.
type stretch struct{ from, to int64 }

func (s stretch) seconds() int64 { return s.to - s.from }

// clock measures time in the band as it goes from reading to reading: what is
// proven, and what is possible if all unknown time was good. Both as the
// longest stretch and in all.
type clock struct {
	before                     int64 // the instant looked at last
	known, in                  bool  // it had a reading that can be proof, within the band
	proven, possible           stretch
	bestProven, bestPossible   stretch
	provenInAll, possibleInAll int64
}

// tick moves on to an instant and says what is known of the time since the
// last one: nothing, or within the band, or (some of it) outside.
func (c *clock) tick(at int64, unknown, within bool) {
	since := at - c.before
	switch {
	case unknown:
		c.possible.to = at
		c.possibleInAll += since
		c.proven = stretch{at, at}
	case within:
		c.proven.to, c.possible.to = at, at
		c.provenInAll += since
		c.possibleInAll += since
	default:
		c.proven, c.possible = stretch{at, at}, stretch{at, at}
	}
	if c.proven.seconds() > c.bestProven.seconds() {
		c.bestProven = c.proven
	}
	if c.possible.seconds() > c.bestPossible.seconds() {
		c.bestPossible = c.possible
	}
	c.before = at
}

// holds measures time in the band between two instants.
func (p proof) holds(c Criterion, f *ProbeFinding, first, last int, from, to int64) {
	k := clock{before: from, proven: stretch{from, from}, possible: stretch{from, from}}
	for i := first; i < last; i++ {
		at, known, in := p.Times[i], p.ok[i], c.within(p.Values[i]+p.Probe.Offset)
		unknown := at-k.before > p.sane.MaxGapSeconds || i > first && !(known && k.known)
		k.tick(at, unknown, known && in && k.known && k.in)
		if known && !in {
			k.proven, k.possible = stretch{at, at}, stretch{at, at}
		}
		k.known, k.in = known, in
	}
	k.tick(max(to, k.before), to-k.before > p.sane.MaxGapSeconds, false)
	f.From, f.To = k.bestProven.from, k.bestProven.to
	f.ProvenSeconds, f.PossibleSeconds = k.bestProven.seconds(), k.bestPossible.seconds()
	if c.Test == HoldsInAll {
		f.ProvenSeconds, f.PossibleSeconds = k.provenInAll, k.possibleInAll
		f.From, f.To = 0, 0
	}
	switch {
	case f.ProvenSeconds >= c.Seconds:
		f.Verdict = Met
	case f.PossibleSeconds >= c.Seconds:
		f.Verdict = NotProven
	default:
		f.Verdict = NotMet
	}
	p.extremes(f, first, last)
}

// extremes finds the lowest and highest values in the stretch that decides.
// Without a proven stretch all possible values count.
func (p proof) extremes(f *ProbeFinding, first, last int) {
	if f.From == f.To {
		f.From, f.To = 0, 0
		if first < last {
			f.From, f.To = p.Times[first], p.Times[last-1]
		}
	}
	none := true
	for i := first; i < last; i++ {
		if !p.ok[i] || p.Times[i] < f.From || p.Times[i] > f.To {
			continue
		}
		v := p.Values[i] + p.Probe.Offset
		if none {
			f.Lowest, f.Highest, none = v, v, false
		}
		f.Lowest, f.Highest = min(f.Lowest, v), max(f.Highest, v)
	}
}

// ends judges the last readings.
func (p proof) ends(c Criterion, f *ProbeFinding, first, last int, at int64) {
	need := max(1, c.Readings)
	from := max(first, last-need)
	if from == last {
		f.Verdict = NotProven
		return
	}
	f.From, f.To = p.Times[from], p.Times[last-1]
	enough := last-from == need && (c.MaxAgeSeconds == 0 || at-f.To <= c.MaxAgeSeconds)
	f.Verdict = Met
	for i := from; i < last; i++ {
		switch {
		case !p.ok[i]:
			enough = false
		case !c.within(p.Values[i] + p.Probe.Offset):
			f.Verdict = NotMet
		}
	}
	if f.Verdict == Met && !enough {
		f.Verdict = NotProven
	}
	p.extremes(f, from, last)
}

// maxFaults is how many faults a finding lists.
const maxFaults = 5

// faults lists the stretches that prove nothing, longest first. Gaps matter
// only where time is measured.
func (p proof) faults(first, last int, from, to int64, gaps bool) []Fault {
	var out []Fault
	before := from
	gap := func(at int64) {
		if gaps && at-before > p.sane.MaxGapSeconds {
			out = append(out, Fault{Kind: Gap, From: before, To: at})
		}
		before = at
	}
	for i := first; i < last; i++ {
		gap(p.Times[i])
		if p.ok[i] {
			continue
		}
		v := p.Values[i] + p.Probe.Offset
		kind := Stuck
		if v < p.sane.Least || v > p.sane.Most {
			kind = Impossible
		}
		if n := len(out) - 1; n >= 0 && out[n].Kind == kind && out[n].Value == v && i > first && out[n].To == p.Times[i-1] {
			out[n].To = p.Times[i]
			continue
		}
		out = append(out, Fault{Kind: kind, From: p.Times[i], To: p.Times[i], Value: v})
	}
	gap(to)
	slices.SortStableFunc(out, func(a, b Fault) int { return cmp.Compare(b.To-b.From, a.To-a.From) })
	return out[:min(len(out), maxFaults)]
}
