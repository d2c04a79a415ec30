// Package outlook reckons what the lines of a day are likely to get before any match was run: a
// quick estimate from what farms are likely to bring and the order in which customers are served.
//
// Each product is looked at by itself. Classes are served one after the other; within a class the
// packs go by weight, to nobody more than ordered. What the match does beyond that, such as
// giving another product in place of the one ordered, an estimate leaves out, so a line may get
// more than it says here.
package outlook

import (
	"cmp"
	"slices"
)

// Reason is why a line is likely to be short.
type Reason uint8

// The reasons. The zero value is a line that is not short.
const (
	NotShort    Reason = iota
	NotOffered         // nobody offers the product
	NotFit             // what there is, is too old or held
	OwnWishes          // there is more, from farms that the customer does not take packs from
	NotSure            // more is likely than is promised
	NotEnough          // customers want more than there is
	TooFewOfUse        // what is left is fewer than the line can use
)

// Supply is what there is of a product, in packs.
type Supply struct {
	// Fit may be delivered on the day. Unfit is too old or held. Withheld is likely in addition,
	// and not sure enough to be promised.
	Fit, Unfit, Withheld int64
}

// Line is a line of the product.
type Line struct {
	// ID breaks ties.
	ID string
	// Class is 1 or more; 1 goes first.
	Class int
	// Weight within the class, 1 or more; 0 counts as 1.
	Weight int64
	// Packs ordered, and the fewest that are of use.
	Packs, Least int64
	// Reach is the number of fit packs that come from farms whose packs the customer takes.
	Reach int64
}

// Likely is what a line is likely to get.
type Likely struct {
	Packs  int64
	Reason Reason
}

// Estimate says what each line of one product is likely to get, in the order of the lines.
func Estimate(s Supply, lines []Line) []Likely {
	out := make([]Likely, len(lines))
	var wanted int64
	classes := make(map[int][]int)
	for i, l := range lines {
		wanted += l.Packs
		classes[l.Class] = append(classes[l.Class], i)
	}
	left := s.Fit
	for _, class := range sortedKeys(classes) {
		given := share(left, lines, classes[class])
		for k, i := range classes[class] {
			left -= given[k]
			out[i] = judge(s, wanted, lines[i], given[k])
		}
	}
	return out
}

func sortedKeys(m map[int][]int) []int {
	keys := make([]int, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// share gives packs to lines of one class by weight, to none more than it can take.
func share(packs int64, lines []Line, at []int) []int64 {
	given := make([]int64, len(at))
	open := make([]int, 0, len(at)) // of at
	for k := range at {
		open = append(open, k)
	}
	weight := func(k int) int64 { return max(1, lines[at[k]].Weight) }
	most := func(k int) int64 { return min(lines[at[k]].Packs, lines[at[k]].Reach) }
	for packs > 0 && len(open) > 0 {
		var total int64
		for _, k := range open {
			total += weight(k)
		}
		// Those whose part would be more than they can take get all that they can.
		filled := slices.DeleteFunc(slices.Clone(open), func(k int) bool { return packs*weight(k) < most(k)*total })
		if len(filled) == 0 {
			rest(packs, total, open, weight, func(k int) string { return lines[at[k]].ID }, given)
			return given
		}
		for _, k := range filled {
			given[k] = most(k)
			packs -= given[k]
		}
		open = slices.DeleteFunc(open, func(k int) bool { return slices.Contains(filled, k) })
	}
	return given
}

// rest splits packs by weight among lines that can all take more, by the largest remainder.
func rest(packs, total int64, open []int, weight func(int) int64, id func(int) string, given []int64) {
	left := packs
	for _, k := range open {
		given[k] = packs * weight(k) / total
		left -= given[k]
	}
	turn := slices.SortedFunc(slices.Values(open), func(a, b int) int {
		return cmp.Or(cmp.Compare(packs*weight(b)%total, packs*weight(a)%total), cmp.Compare(id(a), id(b)))
	})
	for _, k := range turn[:left] {
		given[k]++
	}
}

// judge says why a line is short.
func judge(s Supply, wanted int64, l Line, given int64) Likely {
	switch {
	case given >= l.Packs:
		return Likely{Packs: l.Packs}
	case s.Fit+s.Unfit+s.Withheld == 0:
		return Likely{Reason: NotOffered}
	case s.Fit+s.Withheld == 0:
		return Likely{Reason: NotFit}
	case given == l.Reach && l.Reach < s.Fit:
		return useful(l, given, OwnWishes)
	case wanted <= s.Fit+s.Withheld:
		return useful(l, given, NotSure)
	}
	return useful(l, given, NotEnough)
}

// useful takes packs away that are fewer than the line can use.
func useful(l Line, given int64, r Reason) Likely {
	if given > 0 && given < l.Least {
		return Likely{Reason: TooFewOfUse}
	}
	return Likely{given, r}
}
