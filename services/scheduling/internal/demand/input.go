package demand

import (
	"fmt"
	"strings"

	"breakshare.example/services/scheduling/internal/calendar"
)

// Limits of an input.
const (
	maxHorizon = 104   // weeks ahead
	maxHistory = 1_040 // weeks back
	maxGrams   = 1_000_000_000_000
)

// Input is what is known of one product's demand.
type Input struct {
	// History of past weeks in any order; a week left out is not known.
	History []Past
	// Standing is what standing orders ask for in weeks ahead; a week left out
	// has none.
	Standing []Standing
	// Holidays, past and ahead, by the week they fall in.
	Holidays []Holiday
	// Overrides of weeks ahead.
	Overrides []Override
	// First is the Monday of the first week to forecast. Weeks of the history
	// from it on are not used.
	First calendar.Date
	// Weeks is how many weeks to forecast, 1 to 104.
	Weeks int
}

// Past is what was ordered in a week that is over.
type Past struct {
	Week calendar.Date // a Monday
	// Grams ordered in all, delivered or not: demand is what was asked for.
	Grams int64
	// StandingGrams is the part that came from standing orders.
	StandingGrams int64
}

// Standing is what standing orders ask for in one week.
type Standing struct {
	Week  calendar.Date // a Monday
	Grams int64
}

// Holiday marks a week as one in which demand differs each time the holiday
// comes, e.g. "Christmas".
type Holiday struct {
	Week calendar.Date // a Monday
	Name string
}

// Override is a coordinator's own figure for a week.
type Override struct {
	Week   calendar.Date // a Monday
	Grams  int64
	Reason string
	By     string
}

// InputError is an input that cannot be used.
type InputError struct {
	// Path of the field, e.g. "history[3].week".
	Path   string
	Detail string
}

// Error names the field and how to mend it.
func (e *InputError) Error() string { return fmt.Sprintf("demand forecast: %s %s", e.Path, e.Detail) }

func (in *Input) check() error {
	if err := checkWeek("first", in.First, nil); err != nil {
		return err
	}
	if in.Weeks < 1 || in.Weeks > maxHorizon {
		return &InputError{Path: "weeks", Detail: fmt.Sprintf("is %d; give 1 to %d", in.Weeks, maxHorizon)}
	}
	if err := in.checkHistory(); err != nil {
		return err
	}
	seen := map[calendar.Date]bool{}
	for i, s := range in.Standing {
		path := fmt.Sprintf("standing[%d]", i)
		if err := checkWeekGrams(path, s.Week, s.Grams, seen); err != nil {
			return err
		}
	}
	seen = map[calendar.Date]bool{}
	for i, h := range in.Holidays {
		path := fmt.Sprintf("holidays[%d]", i)
		if err := checkWeek(path+".week", h.Week, seen); err != nil {
			return err
		}
		if strings.TrimSpace(h.Name) == "" {
			return &InputError{Path: path + ".name", Detail: "is empty; name the holiday, the same each year"}
		}
	}
	return in.checkOverrides()
}

func (in *Input) checkHistory() error {
	if len(in.History) > maxHistory {
		return &InputError{Path: "history", Detail: fmt.Sprintf("has %d weeks; give the last %d at most", len(in.History), maxHistory)}
	}
	seen := map[calendar.Date]bool{}
	for i, p := range in.History {
		path := fmt.Sprintf("history[%d]", i)
		if err := checkWeekGrams(path, p.Week, p.Grams, seen); err != nil {
			return err
		}
		if err := checkGrams(path+".standing_grams", p.StandingGrams); err != nil {
			return err
		}
		if p.Week < in.First.Add(-7*maxHistory) {
			return &InputError{Path: path + ".week", Detail: fmt.Sprintf("is %s, more than %d weeks before %s", p.Week, maxHistory, in.First)}
		}
	}
	return nil
}

func (in *Input) checkOverrides() error {
	seen := map[calendar.Date]bool{}
	for i, o := range in.Overrides {
		path := fmt.Sprintf("overrides[%d]", i)
		if err := checkWeekGrams(path, o.Week, o.Grams, seen); err != nil {
			return err
		}
		if o.Week < in.First || o.Week >= in.First.Add(7*in.Weeks) {
			return &InputError{Path: path + ".week", Detail: fmt.Sprintf("is %s; only the weeks from %s that are forecast can be overruled", o.Week, in.First)}
		}
		if strings.TrimSpace(o.Reason) == "" {
			return &InputError{Path: path + ".reason", Detail: "is empty; say why the week is overruled"}
		}
		if strings.TrimSpace(o.By) == "" {
			return &InputError{Path: path + ".by", Detail: "is empty; say who overrules the week"}
		}
	}
	return nil
}

func checkWeekGrams(path string, week calendar.Date, grams int64, seen map[calendar.Date]bool) error {
	if err := checkWeek(path+".week", week, seen); err != nil {
		return err
	}
	return checkGrams(path+".grams", grams)
}

func checkWeek(path string, week calendar.Date, seen map[calendar.Date]bool) error {
	if week < calendar.FirstDate || week > calendar.LastDate {
		return &InputError{Path: path, Detail: fmt.Sprintf("is %s; give a day from %s to %s", week, calendar.FirstDate, calendar.LastDate)}
	}
	if week.Week() != week {
		return &InputError{Path: path, Detail: fmt.Sprintf("is %s, a %s; weeks begin on Monday %s", week, week.Weekday(), week.Week())}
	}
	if seen == nil {
		return nil
	}
	if seen[week] {
		return &InputError{Path: path, Detail: fmt.Sprintf("is %s, which stands twice; give each week once", week)}
	}
	seen[week] = true
	return nil
}

func checkGrams(path string, grams int64) error {
	if grams < 0 || grams > maxGrams {
		return &InputError{Path: path, Detail: fmt.Sprintf("is %d; give grams from 0 to %d", grams, int64(maxGrams))}
	}
	return nil
}
