package exposure

import (
	"fmt"
	"strings"
)

// Reading is what a meter showed, as an average over a time.
type Reading struct {
	Gas     Gas
	Milli   int64 // thousandths of a ppm, of a % for oxygen
	Seconds int64 // averaged over; 0 for a single look
}

// Standing is how a reading stands to a limit.
type Standing uint8

const (
	Under Standing = iota
	At             // exactly at it
	Over           // beyond it; for a least value, below it
)

// Finding is a limit that a reading is at or over.
type Finding struct {
	Limit    Limit
	Standing Standing
	// Held is false where the reading is shorter than the limit's time: it
	// would be at or over it if it lasted.
	Held bool
}

// Advice is what a reading calls for.
type Advice uint8

const (
	Usual Advice = iota // no limit is reached; the usual care
	Watch               // a limit is reached exactly, or would be passed if it lasted all day
	Leave               // a limit is passed
	Flee                // life is in danger at once
)

// Judgement is the answer to a reading.
type Judgement struct {
	Findings []Finding // in the order of the limits
	Advice   Advice
	Sentence string
}

// InvalidError says what of a reading cannot be, and how to mend it.
type InvalidError struct{ Where, Problem string }

func (e *InvalidError) Error() string { return e.Where + ": " + e.Problem }

// Judge holds a reading against limits, which are Limits or a co-op's own. It
// returns an *InvalidError for a gas without a limit and a value that no air
// has.
func Judge(r Reading, limits []Limit) (Judgement, error) {
	if err := r.check(limits); err != nil {
		return Judgement{}, err
	}
	var out Judgement
	for _, l := range limits {
		if l.Gas != r.Gas {
			continue
		}
		f := Finding{Limit: l, Standing: l.standing(r.Milli), Held: r.Seconds >= l.Seconds}
		// Exactly the least or most oxygen is still right.
		if f.Standing == Under || f.Standing == At && l.Gas == Oxygen {
			continue
		}
		out.Findings = append(out.Findings, f)
		out.Advice = max(out.Advice, f.advice())
	}
	out.Sentence = out.sentence(r)
	return out, nil
}

func (l Limit) standing(milli int64) Standing {
	over := milli > l.Milli
	if l.Least {
		over = milli < l.Milli
	}
	switch {
	case over:
		return Over
	case milli == l.Milli:
		return At
	default:
		return Under
	}
}

func (f Finding) advice() Advice {
	switch {
	case f.Limit.Danger:
		return Flee
	case f.Standing == Over && (f.Held || f.Limit.Seconds <= 15*minute):
		return Leave // nobody waits out a quarter of an hour to be sure
	default:
		return Watch
	}
}

// Possible reports whether air can hold that much of a gas, in thousandths.
func Possible(gas Gas, milli int64) bool { return milli >= 0 && milli <= mostOf(gas) }

func mostOf(gas Gas) int64 {
	if gas == Oxygen {
		return 100_000
	}
	return 1_000_000_000
}

func (r Reading) check(limits []Limit) error {
	known := false
	for _, l := range limits {
		known = known || l.Gas == r.Gas
	}
	unit := "ppm"
	if r.Gas == Oxygen {
		unit = "%"
	}
	switch {
	case !known:
		return &InvalidError{"reading, gas", fmt.Sprintf("no limit is known for %q", r.Gas)}
	case !Possible(r.Gas, r.Milli):
		return &InvalidError{"reading of " + string(r.Gas), fmt.Sprintf("%d thousandths of a %s cannot be: check the meter and stay out", r.Milli, unit)}
	case r.Seconds < 0:
		return &InvalidError{"reading of " + string(r.Gas), fmt.Sprintf("averaged over %d s: give 0 or more", r.Seconds)}
	}
	return nil
}

func (j Judgement) sentence(r Reading) string {
	unit := "ppm"
	if r.Gas == Oxygen {
		unit = "%"
	}
	value := strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%d.%03d", r.Milli/1000, r.Milli%1000), "0"), ".")
	text := fmt.Sprintf("%s %s %s", r.Gas, value, unit)
	if len(j.Findings) == 0 {
		return text + ": no published limit is reached. " + Deference
	}
	reached := make([]string, 0, len(j.Findings))
	for _, f := range j.Findings {
		how := map[Standing]string{At: "at", Over: "beyond"}[f.Standing]
		lasting := ""
		if !f.Held {
			lasting = " if it lasts"
		}
		reached = append(reached, how+" the "+f.Limit.Name+lasting)
	}
	act := map[Advice]string{
		Watch: "Ventilate and keep measuring.", Leave: "Leave and ventilate.",
		Flee: "Leave at once; nobody goes in without breathing apparatus and trained help.",
	}[j.Advice]
	return fmt.Sprintf("%s: %s. %s %s", text, strings.Join(reached, ", "), act, Deference)
}

// Spell is a stretch of a working day at one concentration.
type Spell struct {
	Milli, Seconds int64
}

// WorkingDay is the eight-hour average of a day's spells: sum of concentration
// × time over eight hours, whatever the length of the day (29 CFR
// 1910.1000(d)(1)), rounded up. It returns an *InvalidError for a negative
// value, a negative time, and more than a day.
func WorkingDay(spells []Spell) (milli int64, err error) {
	var sum, seconds int64
	for i, s := range spells {
		if s.Milli < 0 || s.Milli > 1_000_000_000 || s.Seconds < 0 || s.Seconds > 24*hour {
			return 0, &InvalidError{fmt.Sprintf("spell %d", i+1), fmt.Sprintf("%d thousandths over %d s: both must be 0 or more, the time at most a day", s.Milli, s.Seconds)}
		}
		sum += s.Milli * s.Seconds
		seconds += s.Seconds
	}
	if seconds > 24*hour {
		return 0, &InvalidError{"spells", fmt.Sprintf("come to %d s: a day has %d", seconds, 24*hour)}
	}
	return (sum + 8*hour - 1) / (8 * hour), nil
}
