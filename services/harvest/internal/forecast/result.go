package forecast

import (
	"fmt"
	"math"
	"slices"
)

// Day is the forecast of one day in grams: nine times out of ten above Low,
// as often above as below Likely, nine times out of ten below High.
type Day struct {
	Day               int // after filling
	Low, Likely, High int64
	Mean              int64
	Break             int // the break most likely borne that day, from 1; 0 when none is likely
	BreakPerMille     int // how likely it is that this break is being borne
}

// Break is the outlook of one break that is under way or to come. Grams are
// those still to be picked from it.
type Break struct {
	Number                    int // from 1
	FirstDay, LastDay         int // likely days after filling
	FirstEarliest, LastLatest int // the 10 % earliest start and 90 % latest end
	Low, Likely, High         int64
	PerMille                  int // how likely it is that anything of it is still to come
}

type breakMembers struct {
	start, end []float32
	grams      []int64
}

// Forecast is the answer for one crop, or for several summed. It does not
// change once made.
type Forecast struct {
	From    int // first day, after filling
	days    int
	members int
	grams   []int64 // day by day, all members of a day together
	bearing []int   // maxBreaks counts per day: members that bear break k
	breaks  []breakMembers
	fan     []Day
}

// read fills the fan from the members.
func (f *Forecast) read() {
	f.fan = make([]Day, f.days)
	scratch := make([]int64, 0, f.members)
	for i := range f.days {
		sorted := f.sorted(scratch, i)
		var sum int64
		for _, g := range sorted {
			sum += g
		}
		d := Day{
			Day: f.From + i, Mean: sum / int64(f.members),
			Low: f.at(sorted, 0.1), Likely: f.at(sorted, 0.5), High: f.at(sorted, 0.9),
		}
		d.Break, d.BreakPerMille = f.breakOn(i)
		f.fan[i] = d
	}
}

// sorted returns the non-zero members of the i-th day in rising order, in
// scratch's memory.
func (f *Forecast) sorted(scratch []int64, i int) []int64 {
	out := scratch[:0]
	for _, g := range f.grams[i*f.members : (i+1)*f.members] {
		if g != 0 {
			out = append(out, g)
		}
	}
	slices.Sort(out)
	return out
}

// at reads quantile p from the sorted non-zero members, the rest being zeros,
// interpolating between neighbours.
func (f *Forecast) at(nonzero []int64, p float64) int64 {
	zeros := f.members - len(nonzero)
	get := func(i int) int64 {
		if i < zeros {
			return 0
		}
		return nonzero[i-zeros]
	}
	pos := p * float64(f.members-1)
	i := int(pos)
	if i >= f.members-1 {
		return get(f.members - 1)
	}
	low, high := get(i), get(i+1)
	return low + int64((pos-float64(i))*float64(high-low)+0.5)
}

// Days returns the fan, one entry per day.
func (f *Forecast) Days() []Day { return slices.Clone(f.fan) }

// Quantile returns the grams below which the day stays with probability p. It
// refuses a day outside the forecast or p outside 0 to 1 with a *CropError.
func (f *Forecast) Quantile(day int, p float64) (int64, error) {
	return f.TotalQuantile(day, day, p)
}

// TotalQuantile is Quantile for the grams of all days first to last together.
func (f *Forecast) TotalQuantile(first, last int, p float64) (int64, error) {
	if first < f.From || last >= f.From+f.days || first > last {
		return 0, &CropError{"day", fmt.Sprintf("days %d to %d are not within the forecast's %d to %d", first, last, f.From, f.From+f.days-1)}
	}
	if math.IsNaN(p) || p < 0 || p > 1 {
		return 0, &CropError{"quantile", fmt.Sprintf("ask for a probability from 0 to 1, not %v", p)}
	}
	sums := make([]int64, f.members)
	for d := first - f.From; d <= last-f.From; d++ {
		for i, g := range f.grams[d*f.members : (d+1)*f.members] {
			sums[i] += g
		}
	}
	slices.Sort(sums)
	return f.at(sums, p), nil
}

// Breaks returns the outlook of each break of which anything may still come,
// in order. It is empty on a sum of several crops.
func (f *Forecast) Breaks() []Break {
	var out []Break
	for k := range f.breaks {
		b := f.breaks[k]
		n := len(b.grams)
		if n == 0 {
			continue
		}
		start, end, grams := slices.Clone(b.start), slices.Clone(b.end), slices.Clone(b.grams)
		slices.Sort(start)
		slices.Sort(end)
		slices.Sort(grams)
		last := func(v float32) int { return int(math.Ceil(float64(v))) - 1 }
		out = append(out, Break{
			Number:   k + 1,
			FirstDay: int(start[n/2]), LastDay: last(end[n/2]),
			FirstEarliest: int(start[n/10]), LastLatest: last(end[n-1-n/10]),
			Low: grams[n/10], Likely: grams[n/2], High: grams[n-1-n/10],
			PerMille: 1000 * n / f.members,
		})
	}
	return out
}

// breakOn returns the break that most members bear on the i-th day and how many
// in a thousand do; ties go to the earlier break. It is what is proposed as
// break number to whoever records a pick.
func (f *Forecast) breakOn(i int) (number, perMille int) {
	most := 0
	for k, count := range f.bearing[i*maxBreaks : (i+1)*maxBreaks] {
		if count > most {
			most, number = count, k+1
		}
	}
	return number, 1000 * most / f.members
}
