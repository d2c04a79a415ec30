package shelflife

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// UnknownProductError says that no table speaks of a product.
type UnknownProductError struct{ Product string }

func (e *UnknownProductError) Error() string {
	return fmt.Sprintf("shelf life: no table speaks of %q; add one with its source", e.Product)
}

// TableError refuses a table that cannot be read.
type TableError struct{ Product, Why string }

func (e *TableError) Error() string {
	return fmt.Sprintf("shelf life: table of %q: %s", e.Product, e.Why)
}

// SpellError refuses a stay of less than no time.
type SpellError struct{ Hours int }

func (e *SpellError) Error() string {
	return fmt.Sprintf("shelf life: a stay of %d hours cannot be; give 0 or more", e.Hours)
}

// check refuses a table that has no point, is not coldest first, or names a
// life that is not positive.
func (t Table) check() error {
	if len(t.Points) == 0 {
		return &TableError{t.Product, "give at least one temperature"}
	}
	for i, p := range t.Points {
		if p.LowHours <= 0 || p.HighHours < p.LowHours {
			return &TableError{t.Product, "every life is above 0 hours and low does not exceed high"}
		}
		if i > 0 && p.TenthC <= t.Points[i-1].TenthC {
			return &TableError{t.Product, "list temperatures from cold to warm, each once"}
		}
	}
	return nil
}

// hours is the shortest life the table allows at a temperature.
func (t Table) hours(tenthC int) float64 {
	first, last := t.Points[0], t.Points[len(t.Points)-1]
	if tenthC <= first.TenthC {
		return float64(first.LowHours)
	}
	if tenthC >= last.TenthC {
		return float64(last.LowHours) * math.Pow(warmFactor, -float64(tenthC-last.TenthC)/100)
	}
	i := slices.IndexFunc(t.Points, func(p Point) bool { return p.TenthC > tenthC })
	a, b := t.Points[i-1], t.Points[i]
	part := float64(tenthC-a.TenthC) / float64(b.TenthC-a.TenthC)
	return float64(a.LowHours) * math.Pow(float64(b.LowHours)/float64(a.LowHours), part)
}

// Life is the whole life of a product at a temperature, in hours rounded down:
// the shortest of all tables that speak of it, and the source of that one. It
// refuses with an *UnknownProductError or a *TableError.
func Life(tables []Table, product string, tenthC int) (hours int, source string, err error) {
	life, source, err := life(tables, product, tenthC)
	return int(life + 1e-9), source, err
}

func life(tables []Table, product string, tenthC int) (float64, string, error) {
	best, source := math.Inf(1), ""
	for _, t := range tables {
		if t.Product != product {
			continue
		}
		if err := t.check(); err != nil {
			return 0, "", err
		}
		if h := t.hours(tenthC); h < best {
			best, source = h, t.Source
		}
	}
	if math.IsInf(best, 1) {
		return 0, "", &UnknownProductError{product}
	}
	return best, source, nil
}

// Spell is a stay at one temperature.
type Spell struct {
	Hours  int
	TenthC int
}

// Remaining is the life that is left at tenthC after the spells, in whole hours
// rounded down, 0 when used up. It refuses as Life does, and with a *SpellError.
func Remaining(tables []Table, product string, past []Spell, tenthC int) (int, error) {
	left := 1.0
	for _, s := range past {
		if s.Hours < 0 {
			return 0, &SpellError{s.Hours}
		}
		whole, _, err := life(tables, product, s.TenthC)
		if err != nil {
			return 0, err
		}
		left -= float64(s.Hours) / whole
	}
	whole, _, err := life(tables, product, tenthC)
	if err != nil {
		return 0, err
	}
	return int(max(0, left)*whole + 1e-9), nil
}

// Lot is cold stock of one pick lot.
type Lot struct {
	Code        string
	AgeHours    int // since picking
	RemainHours int // as Remaining gives it
}

// OldestFirst sorts lots in the order in which they should leave the store: the
// longest since picking first; of equal age the one with less life left, then
// by code. The argument is left as it is.
func OldestFirst(lots []Lot) []Lot {
	out := slices.Clone(lots)
	slices.SortFunc(out, func(a, b Lot) int {
		if a.AgeHours != b.AgeHours {
			return b.AgeHours - a.AgeHours
		}
		if a.RemainHours != b.RemainHours {
			return a.RemainHours - b.RemainHours
		}
		return strings.Compare(a.Code, b.Code)
	})
	return out
}
