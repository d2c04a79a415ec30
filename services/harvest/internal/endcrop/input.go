package endcrop

import "fmt"

// Bounds that keep every product of whole numbers within 64 bits.
const (
	maxGrams  = 1_000_000_000 // a thousand tonnes
	maxPerKg  = 100_000_000   // minor units
	maxMoney  = 1_000_000_000_000
	maxDays   = 400
	maxGrowth = 1000 // per mille per day: doubling
	maxBreaks = 8
)

// Margin is what a kilogram brings and costs, in minor units per kg.
type Margin struct{ PricePerKg, PickingPerKg, HandlingPerKg int64 }

// Break is a break that the present crop may still bear.
type Break struct {
	Number            int
	LastDay           int   // its last pick, days from today; today is 0
	Low, Likely, High int64 // grams
}

// FreshBreak is a break of a fresh cycle.
type FreshBreak struct {
	Grams int64
	Days  int // from the end of the break before (or the first pick) to its last pick
}

// Fresh is a new cycle of the same room, from filling to the next filling.
type Fresh struct {
	Fill, Spawn, Casing, CookOut, Other int64 // costs, minor units, 0 or more
	FillToFirstPick                     int   // days
	CookOutDays, IdleDays               int
	Breaks                              []FreshBreak
}

// Incident is a pest or disease in the room, in money expected to be lost.
type Incident struct {
	LossNow        int64 // were the room cleared today: minor units
	GrowthPerMille int64 // per day
}

// Input is what the advice rests on.
type Input struct {
	Margin     Margin
	RoomPerDay int64   // running cost of a room in crop, minor units per day
	Breaks     []Break // in order
	Fresh      Fresh
	Incident   *Incident // absent when the room is sound
	BusyDays   int       // days from today in which the room could not be put to a fresh cycle anyway, e.g. no compost yet
}

// InputError refuses an input; Field names the value, Why how to mend it.
type InputError struct{ Field, Why string }

func (e *InputError) Error() string { return fmt.Sprintf("end of crop: %s: %s", e.Field, e.Why) }

func (in Input) check() error {
	within := func(field string, v, limit int64) error {
		if v < 0 || v > limit {
			return &InputError{field, fmt.Sprintf("give 0 to %d, not %d", limit, v)}
		}
		return nil
	}
	f := in.Fresh
	type bound struct {
		field    string
		v, limit int64
	}
	bounds := []bound{
		{"price per kg", in.Margin.PricePerKg, maxPerKg}, {"picking per kg", in.Margin.PickingPerKg, maxPerKg},
		{"handling per kg", in.Margin.HandlingPerKg, maxPerKg}, {"room per day", in.RoomPerDay, maxMoney},
		{"fill", f.Fill, maxMoney}, {"spawn", f.Spawn, maxMoney}, {"casing", f.Casing, maxMoney},
		{"cook-out", f.CookOut, maxMoney}, {"other costs", f.Other, maxMoney},
		{"days from fill to first pick", int64(f.FillToFirstPick), maxDays},
		{"cook-out days", int64(f.CookOutDays), maxDays}, {"idle days", int64(f.IdleDays), maxDays},
		{"busy days", int64(in.BusyDays), maxDays},
	}
	for _, b := range f.Breaks {
		bounds = append(bounds, bound{"grams of a fresh break", b.Grams, maxGrams}, bound{"days of a fresh break", int64(b.Days), maxDays})
	}
	for _, b := range in.Breaks {
		bounds = append(bounds, bound{"grams of a break", b.High, maxGrams}, bound{"last day of a break", int64(b.LastDay), maxDays})
	}
	if in.Incident != nil {
		bounds = append(bounds, bound{"loss of the incident", in.Incident.LossNow, maxMoney}, bound{"growth of the incident", in.Incident.GrowthPerMille, maxGrowth})
	}
	for _, b := range bounds {
		if err := within(b.field, b.v, b.limit); err != nil {
			return err
		}
	}
	if len(f.Breaks) == 0 {
		return &InputError{"fresh cycle", "give at least one break of a fresh cycle"}
	}
	if len(in.Breaks) > maxBreaks || len(f.Breaks) > maxBreaks {
		return &InputError{"breaks", "give at most 8"}
	}
	for i, b := range in.Breaks {
		if b.Low < 0 || b.Low > b.Likely || b.Likely > b.High {
			return &InputError{"grams of a break", "give 0 ≤ low ≤ likely ≤ high"}
		}
		if i > 0 && b.LastDay < in.Breaks[i-1].LastDay {
			return &InputError{"breaks", "give them in the order in which they end"}
		}
	}
	return nil
}
