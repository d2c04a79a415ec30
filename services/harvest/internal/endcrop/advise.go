package endcrop

// Verdict is what is advised.
type Verdict uint8

// The verdicts.
const (
	ClearRoom    Verdict = iota + 1 // a fresh cycle earns more than any break to come
	AnotherBreak                    // at least one more break earns more
)

// String says the verdict in words.
func (v Verdict) String() string {
	switch v {
	case ClearRoom:
		return "clear the room"
	case AnotherBreak:
		return "another break"
	}
	return "unknown"
}

// Advice tells what to do and why. Days count from today, which is 0; money is
// minor units.
type Advice struct {
	Verdict     Verdict
	Sure        bool  // the low and the high forecast lead to the same verdict
	KeepThrough int   // number of the last break worth waiting for; 0 when none
	ClearOn     int   // first day with nothing left that is worth its room
	CostsFrom   int   // first day on which waiting has cost money: still waiting then, the room earns less than a fresh cycle would have
	DelayPerDay int64 // what each day of waiting beyond that costs
	Next        Rate  // net value and room-days of the next break; zero days when none comes
	NextNet     Money // how Next came about
	Fresh       Rate  // long-run value of a fresh cycle
	FreshBreaks int   // breaks after which a fresh cycle is best ended
	GainLow     int64 // at the low, likely and high forecast, what keeping through KeepThrough (or, when clearing is advised, through the next break) earns above clearing today
	GainLikely  int64
	GainHigh    int64
}

// Money is the account of one break.
type Money struct{ Sales, PickingAndHandling, Room, Incident, Net int64 }

// Advise weighs the present crop against a fresh cycle. It refuses with an
// *InputError.
func Advise(in Input) (Advice, error) {
	if err := in.check(); err != nil {
		return Advice{}, err
	}
	var a Advice
	a.FreshBreaks, a.Fresh = in.fresh()
	if a.FreshBreaks == 0 {
		return Advice{}, &InputError{"fresh cycle", "its days add up to 0"}
	}
	likely := in.gains(a.Fresh, func(b Break) int64 { return b.Likely })
	low := in.gains(a.Fresh, func(b Break) int64 { return b.Low })
	high := in.gains(a.Fresh, func(b Break) int64 { return b.High })
	n := best(likely)
	a.Verdict = verdict(n)
	a.Sure = verdict(best(low)) == a.Verdict && verdict(best(high)) == a.Verdict
	a.DelayPerDay = a.Fresh.PerDay() + in.RoomPerDay
	if len(in.Breaks) > 0 {
		a.NextNet = in.account(0, in.Breaks[0].LastDay+1, in.Breaks[0].Likely)
		a.Next = Rate{a.NextNet.Net, int64(in.Breaks[0].LastDay + 1)}
		show := max(1, n)
		a.GainLow, a.GainLikely, a.GainHigh = low[show], likely[show], high[show]
	}
	a.CostsFrom = in.BusyDays
	if n > 0 {
		last := in.Breaks[n-1]
		a.KeepThrough, a.ClearOn = last.Number, last.LastDay+1
		a.CostsFrom = in.breakEven(a.Fresh, n)
	}
	return a, nil
}

// fresh is the long-run value of the room's cycle.
func (in Input) fresh() (int, Rate) {
	f := in.Fresh
	changeover := Step{
		Net:  -(f.Fill + f.Spawn + f.Casing + f.CookOut + f.Other) - in.RoomPerDay*int64(f.FillToFirstPick),
		Days: int64(f.FillToFirstPick + f.CookOutDays + f.IdleDays),
	}
	steps := make([]Step, len(f.Breaks))
	for i, b := range f.Breaks {
		m := in.sell(b.Grams)
		steps[i] = Step{Net: m.Sales - m.PickingAndHandling - in.RoomPerDay*int64(b.Days), Days: int64(b.Days)}
	}
	return BestAverage(changeover, steps)
}

// sell accounts for the grams alone. What is left of the sales is rounded, not
// its parts, so that with a margin above 0 more grams never leave less.
func (in Input) sell(grams int64) Money {
	m := in.Margin
	sales := divide(grams*m.PricePerKg, 1000)
	left := divide(grams*(m.PricePerKg-m.PickingPerKg-m.HandlingPerKg), 1000)
	return Money{Sales: sales, PickingAndHandling: sales - left}
}

// account is the account of grams picked over the room-days from (included) to
// until (not included).
func (in Input) account(from, until int, grams int64) Money {
	m := in.sell(grams)
	m.Room = in.RoomPerDay * int64(until-from)
	m.Incident = in.spread(until) - in.spread(from)
	m.Net = m.Sales - m.PickingAndHandling - m.Room - m.Incident
	return m
}

// spread is what the incident is expected to cost beyond today's loss after
// the given days.
func (in Input) spread(days int) int64 {
	if in.Incident == nil {
		return 0
	}
	loss := in.Incident.LossNow
	for range days {
		loss = min(maxMoney*1000, loss+divide(loss*in.Incident.GrowthPerMille, 1000))
	}
	return loss - in.Incident.LossNow
}

// gains returns, for each n from 0, what keeping the crop through its next n
// breaks earns above clearing today and starting afresh.
func (in Input) gains(fresh Rate, grams func(Break) int64) []int64 {
	out := make([]int64, len(in.Breaks)+1)
	var net int64
	from := 0
	for i, b := range in.Breaks {
		until := b.LastDay + 1
		net += in.account(from, until, grams(b)).Net
		out[i+1] = net - fresh.over(int64(max(0, until-in.BusyDays)))
		from = until
	}
	return out
}

// best is the number of breaks with the greatest gain, the fewest on a tie.
func best(gains []int64) int {
	n := 0
	for i, g := range gains {
		if g > gains[n] {
			n = i
		}
	}
	return n
}

func verdict(breaks int) Verdict {
	if breaks == 0 {
		return ClearRoom
	}
	return AnotherBreak
}

// breakEven is the first day on which, were the breaks up to the n-th still not
// picked out, keeping the crop would have earned less than clearing today.
func (in Input) breakEven(fresh Rate, n int) int {
	var grams int64
	for _, b := range in.Breaks[:n] {
		grams += b.Likely
	}
	for day := in.Breaks[n-1].LastDay + 1; day < maxDays; day++ {
		gain := in.account(0, day+1, grams).Net - fresh.over(int64(max(0, day+1-in.BusyDays)))
		if gain < 0 {
			return day
		}
	}
	return maxDays
}
