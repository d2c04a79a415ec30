package fillplan

import (
	"fmt"
	"math/big"
	"slices"
)

// InstanceError says what is wrong with an instance and where.
type InstanceError struct {
	// Path names the place as in the JSON form, e.g. "rooms[3].area".
	Path string
	// Reason says what is wrong and what would be right.
	Reason string
}

func (e *InstanceError) Error() string {
	if e.Path == "" {
		return "instance: " + e.Reason
	}
	return "instance: " + e.Path + ": " + e.Reason
}

func instanceErrorf(path, format string, args ...any) *InstanceError {
	return &InstanceError{Path: path, Reason: fmt.Sprintf(format, args...)}
}

// Size limits. They keep a mistaken file from exhausting memory and are far
// above any co-operative: ten years of weeks, ten thousand rooms.
const (
	maxWeeks      = 520
	maxProducts   = 1_000
	maxProgrammes = 1_000
	maxRooms      = 10_000
	// maxChoices limits rooms × their programmes × weeks.
	maxChoices = 20_000_000
)

// maxCost is the largest cost, in millicents, that a plan may conceivably reach.
// The factor of 64 below the range of int64 leaves room for differences, sums
// and finely scaled prices.
var maxCost = new(big.Int).Lsh(big.NewInt(1), 57)

// Validate checks an instance against the format and against the range of exact
// arithmetic. It returns an *InstanceError for the first thing found wrong.
func (in *Instance) Validate() error {
	checks := []func() *InstanceError{
		in.checkSizes, in.checkProducts, in.checkProgrammes, in.checkRooms,
		func() *InstanceError { return checkNumbers("cap", in.YardKg, in.Weeks) },
		func() *InstanceError { return in.checkTable("supply", in.SupplyGrams) },
		func() *InstanceError { return in.checkTable("demand", in.DemandGrams) },
		in.checkRange,
	}
	for _, check := range checks {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (in *Instance) checkSizes() *InstanceError {
	if in.Name == "" {
		return instanceErrorf("name", "must not be empty")
	}
	if in.Weeks < 1 || in.Weeks > maxWeeks {
		return instanceErrorf("weeks", "must be from 1 to %d, got %d", maxWeeks, in.Weeks)
	}
	if n := len(in.Products); n > maxProducts {
		return instanceErrorf("products", "at most %d, got %d", maxProducts, n)
	}
	if n := len(in.Programmes); n > maxProgrammes {
		return instanceErrorf("programmes", "at most %d, got %d", maxProgrammes, n)
	}
	if n := len(in.Rooms); n > maxRooms {
		return instanceErrorf("rooms", "at most %d, got %d", maxRooms, n)
	}
	choices := 0
	for _, r := range in.Rooms {
		choices += len(r.Programmes) * in.Weeks
	}
	if choices > maxChoices {
		return instanceErrorf("rooms", "rooms × programmes × weeks must not pass %d, got %d", maxChoices, choices)
	}
	return nil
}

func (in *Instance) checkProducts() *InstanceError {
	for i, p := range in.Products {
		path := fmt.Sprintf("products[%d]", i)
		if p.ShortCents < 0 {
			return instanceErrorf(path+".short", "must be at least 0 cents per kg, got %d", p.ShortCents)
		}
		if p.OverCents < 0 {
			return instanceErrorf(path+".over", "must be at least 0 cents per kg, got %d", p.OverCents)
		}
	}
	return nil
}

func (in *Instance) checkProgrammes() *InstanceError {
	for i, p := range in.Programmes {
		path := fmt.Sprintf("programmes[%d]", i)
		switch {
		case p.Weeks < 1 || p.Weeks > maxWeeks:
			return instanceErrorf(path+".occ", "must be from 1 to %d weeks, got %d", maxWeeks, p.Weeks)
		case p.CompostKg < 0:
			return instanceErrorf(path+".compost", "must be at least 0 kg per m2, got %d", p.CompostKg)
		case p.CostCents < 0:
			return instanceErrorf(path+".cost", "must be at least 0 cents per m2, got %d", p.CostCents)
		case len(p.YieldGrams) != p.Weeks:
			return instanceErrorf(path+".yield", "must have one row for each of the %d weeks of occ, got %d rows", p.Weeks, len(p.YieldGrams))
		}
		for k, row := range p.YieldGrams {
			if err := checkNumbers(fmt.Sprintf("%s.yield[%d]", path, k), row, len(in.Products)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (in *Instance) checkRooms() *InstanceError {
	for i, r := range in.Rooms {
		path := fmt.Sprintf("rooms[%d]", i)
		switch {
		case r.Farm < 0 || r.Farm >= len(in.Farms):
			return instanceErrorf(path+".farm", "must be an index into the %d farms, got %d", len(in.Farms), r.Farm)
		case r.Area < 1:
			return instanceErrorf(path+".area", "must be at least 1 m2, got %d", r.Area)
		case r.Free < 0:
			return instanceErrorf(path+".free", "must be week 0 or later, got %d", r.Free)
		}
		for j, p := range r.Programmes {
			where := fmt.Sprintf("%s.programmes[%d]", path, j)
			if p < 0 || p >= len(in.Programmes) {
				return instanceErrorf(where, "must be an index into the %d programmes, got %d", len(in.Programmes), p)
			}
			if j > 0 && p <= r.Programmes[j-1] {
				return instanceErrorf(where, "programmes must be ascending without repeats, got %d after %d", p, r.Programmes[j-1])
			}
		}
	}
	return nil
}

func (in *Instance) checkTable(path string, rows [][]int64) *InstanceError {
	if len(rows) != len(in.Products) {
		return instanceErrorf(path, "must have one row for each of the %d products, got %d", len(in.Products), len(rows))
	}
	for q, row := range rows {
		if err := checkNumbers(fmt.Sprintf("%s[%d]", path, q), row, in.Weeks); err != nil {
			return err
		}
	}
	return nil
}

func checkNumbers(path string, row []int64, want int) *InstanceError {
	if len(row) != want {
		return instanceErrorf(path, "must have %d numbers, got %d", want, len(row))
	}
	if i := slices.IndexFunc(row, func(x int64) bool { return x < 0 }); i >= 0 {
		return instanceErrorf(fmt.Sprintf("%s[%d]", path, i), "must be at least 0, got %d", row[i])
	}
	return nil
}

// checkRange refuses instances on which int64 arithmetic could overflow: the
// sum of the dearest conceivable shortage, surplus, filling and compost must
// stay within maxCost.
func (in *Instance) checkRange() *InstanceError {
	if total := in.ceiling(); total.Cmp(maxCost) > 0 {
		return instanceErrorf("", "the numbers are too large for exact costs: shortage, surplus, filling and compost could reach %s thousandths of a cent, at most %s can be held", total, maxCost)
	}
	return nil
}

// ceiling is more than any plan can cost, in millicents, and more than the
// compost of any plan or the grams of any product-week.
func (in *Instance) ceiling() *big.Int {
	total := new(big.Int)
	addProduct := func(factors ...int64) {
		x := big.NewInt(1)
		for _, f := range factors {
			x.Mul(x, big.NewInt(f))
		}
		total.Add(total, x)
	}
	for q, p := range in.Products {
		price := max(p.ShortCents, p.OverCents, 1)
		for w := range in.Weeks {
			addProduct(in.SupplyGrams[q][w], price)
			addProduct(in.DemandGrams[q][w], price)
		}
		for _, r := range in.Rooms {
			addProduct(r.Area, in.peakYield(r, q), price, int64(in.Weeks))
		}
	}
	weeks := int64(in.Weeks)
	for _, r := range in.Rooms {
		var cost, compost int64
		for _, p := range r.Programmes {
			cost = max(cost, in.Programmes[p].CostCents)
			compost = max(compost, in.Programmes[p].CompostKg)
		}
		addProduct(r.Area, cost, 1000, weeks, int64(in.longest()))
		addProduct(r.Area, compost, weeks)
	}
	for _, kg := range in.YardKg {
		addProduct(kg)
	}
	return total
}

func (in *Instance) peakYield(r Room, q int) int64 {
	var peak int64
	for _, p := range r.Programmes {
		for _, row := range in.Programmes[p].YieldGrams {
			peak = max(peak, row[q])
		}
	}
	return peak
}

func (in *Instance) longest() int {
	longest := 1
	for _, p := range in.Programmes {
		longest = max(longest, p.Weeks)
	}
	return longest
}
