package outlook_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/outlook"
)

func TestEstimate(t *testing.T) {
	t.Parallel()
	line := func(id string, class int, packs int64) outlook.Line {
		return outlook.Line{ID: id, Class: class, Packs: packs, Reach: 1000}
	}
	weighing := func(l outlook.Line, weight int64) outlook.Line { l.Weight = weight; return l }
	useful := func(l outlook.Line, least int64) outlook.Line { l.Least = least; return l }
	reaching := func(l outlook.Line, reach int64) outlook.Line { l.Reach = reach; return l }
	tests := map[string]struct {
		supply outlook.Supply
		lines  []outlook.Line
		want   []outlook.Likely
	}{
		"enough":                        {outlook.Supply{Fit: 20}, []outlook.Line{line("a", 1, 12), line("b", 2, 8)}, []outlook.Likely{{Packs: 12}, {Packs: 8}}},
		"the higher class first":        {outlook.Supply{Fit: 15}, []outlook.Line{line("b", 2, 8), line("a", 1, 12)}, []outlook.Likely{{3, outlook.NotEnough}, {Packs: 12}}},
		"equal parts within a class":    {outlook.Supply{Fit: 10}, []outlook.Line{line("a", 1, 12), line("b", 1, 8)}, []outlook.Likely{{5, outlook.NotEnough}, {5, outlook.NotEnough}}},
		"to nobody more than ordered":   {outlook.Supply{Fit: 10}, []outlook.Line{line("a", 1, 12), line("b", 1, 2)}, []outlook.Likely{{8, outlook.NotEnough}, {Packs: 2}}},
		"by weight":                     {outlook.Supply{Fit: 9}, []outlook.Line{weighing(line("a", 1, 12), 2), line("b", 1, 8)}, []outlook.Likely{{6, outlook.NotEnough}, {3, outlook.NotEnough}}},
		"the odd pack by name":          {outlook.Supply{Fit: 5}, []outlook.Line{line("b", 1, 8), line("a", 1, 8)}, []outlook.Likely{{2, outlook.NotEnough}, {3, outlook.NotEnough}}},
		"nothing offered":               {outlook.Supply{}, []outlook.Line{line("a", 1, 12)}, []outlook.Likely{{0, outlook.NotOffered}}},
		"only held or old":              {outlook.Supply{Unfit: 9}, []outlook.Line{line("a", 1, 12)}, []outlook.Likely{{0, outlook.NotFit}}},
		"likely but not sure":           {outlook.Supply{Fit: 8, Withheld: 4}, []outlook.Line{line("a", 1, 12)}, []outlook.Likely{{8, outlook.NotSure}}},
		"nor would all that is likely":  {outlook.Supply{Fit: 8, Withheld: 3}, []outlook.Line{line("a", 1, 12)}, []outlook.Likely{{8, outlook.NotEnough}}},
		"farms that it does not take":   {outlook.Supply{Fit: 20}, []outlook.Line{reaching(line("a", 1, 12), 5)}, []outlook.Likely{{5, outlook.OwnWishes}}},
		"fewer than are of use":         {outlook.Supply{Fit: 3}, []outlook.Line{useful(line("a", 1, 12), 6)}, []outlook.Likely{{0, outlook.TooFewOfUse}}},
		"no lines":                      {outlook.Supply{Fit: 3}, nil, []outlook.Likely{}},
		"of what all lines of it leave": {outlook.Supply{Fit: 2}, []outlook.Line{line("a", 1, 2), line("b", 2, 2)}, []outlook.Likely{{Packs: 2}, {0, outlook.NotEnough}}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(test.want, outlook.Estimate(test.supply, test.lines)); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

// Never more than there is or than ordered; a lower class gets something only where the higher has
// all that it can take; and the order of the lines is of no matter.
func TestEstimateKeepsWithinWhatThereIs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		s := outlook.Supply{Fit: rapid.Int64Range(0, 60).Draw(rt, "fit"), Withheld: rapid.Int64Range(0, 9).Draw(rt, "withheld")}
		lines := make([]outlook.Line, rapid.IntRange(0, 7).Draw(rt, "lines"))
		for i := range lines {
			lines[i] = outlook.Line{
				ID: fmt.Sprint(i), Class: rapid.IntRange(1, 3).Draw(rt, "class"), Weight: rapid.Int64Range(0, 4).Draw(rt, "weight"),
				Packs: rapid.Int64Range(1, 30).Draw(rt, "packs"), Reach: s.Fit,
			}
		}
		got := outlook.Estimate(s, lines)
		var total, wanted int64
		for i, l := range got {
			total, wanted = total+l.Packs, wanted+lines[i].Packs
			if l.Packs < 0 || l.Packs > lines[i].Packs || (l.Packs == lines[i].Packs) != (l.Reason == outlook.NotShort) {
				rt.Fatalf("line %d of %+v gets %+v", i, lines[i], l)
			}
			for j, other := range got {
				if lines[i].Class < lines[j].Class && l.Packs < lines[i].Packs && other.Packs > 0 {
					rt.Fatalf("line %d of class %d is short while %d of class %d gets packs", i, lines[i].Class, j, lines[j].Class)
				}
			}
		}
		if total != min(s.Fit, wanted) {
			rt.Fatalf("%d packs given of %d, %d wanted", total, s.Fit, wanted)
		}
		turn := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1)).Perm(len(lines))
		turned := make([]outlook.Line, len(lines))
		for i, j := range turn {
			turned[i] = lines[j]
		}
		again := outlook.Estimate(s, turned)
		for i, j := range turn {
			if again[i] != got[j] {
				rt.Fatalf("line %s gets %+v, and %+v in another order", lines[j].ID, got[j], again[i])
			}
		}
	})
}
