package needs_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/needs"
)

// Weeks as ISO 8601 counts them, by package time.
func TestMondayIsThatOfTheISOWeek(t *testing.T) {
	t.Parallel()
	at := func(day int) time.Time { return time.Unix(int64(day)*24*60*60, 0).UTC() }
	for day := -800; day < 40_000; day += 11 {
		monday := needs.Monday(day)
		year, week := at(day).ISOWeek()
		if y, w := at(monday).ISOWeek(); at(monday).Weekday() != time.Monday || y != year || w != week {
			t.Fatalf("%s of week %d-%d has its Monday on %s", at(day).Format(time.DateOnly), year, week, at(monday).Format(time.DateOnly))
		}
	}
}

func spawn(crop, farm, strain string, day int, grams int64) needs.Need {
	return needs.Need{Crop: crop, Room: crop + "-room", Farm: farm, Species: "white mushroom", Strain: strain, Day: day, Grams: grams}
}

func TestByWeek(t *testing.T) {
	t.Parallel()
	const monday = 20787 // 2026-11-30
	casing := needs.Need{Crop: "a1", Room: "a1-room", Farm: "alder", Kind: needs.Casing, Day: monday + 6, Grams: 9_000}
	all := []needs.Need{
		spawn("a1", "alder", "hybrid", monday, 700), spawn("a2", "alder", "hybrid", monday+6, 500), spawn("b1", "birch", "hybrid", monday+2, 300),
		spawn("b2", "birch", "wild", monday+2, 50), spawn("b3", "birch", "hybrid", monday+7, 40), casing,
	}
	sum := func(week int, farm, strain string, first int, own ...needs.Need) needs.Sum {
		s := needs.Sum{Monday: week, Farm: farm, Species: "white mushroom", Strain: strain, First: first, Needs: own}
		for _, n := range own {
			s.Grams += n.Grams
		}
		return s
	}
	cased := needs.Sum{Monday: monday, Farm: "alder", Kind: needs.Casing, Grams: 9_000, First: monday + 6, Needs: []needs.Need{casing}}
	byFarm := []needs.Sum{
		sum(monday, "alder", "hybrid", monday, all[0], all[1]), sum(monday, "birch", "hybrid", monday+2, all[2]),
		sum(monday, "birch", "wild", monday+2, all[3]), cased, sum(monday+7, "birch", "hybrid", monday+7, all[4]),
	}
	cased.Farm = ""
	pooled := []needs.Sum{
		sum(monday, "", "hybrid", monday, all[0], all[2], all[1]), sum(monday, "", "wild", monday+2, all[3]), cased,
		sum(monday+7, "", "hybrid", monday+7, all[4]),
	}
	for range 5 {
		rand.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		if d := cmp.Diff(byFarm, needs.ByWeek(slices.Clone(all), false)); d != "" {
			t.Fatalf("by farm (-want +got):\n%s", d)
		}
		if d := cmp.Diff(pooled, needs.ByWeek(slices.Clone(all), true)); d != "" {
			t.Fatalf("pooled (-want +got):\n%s", d)
		}
	}
	if none := needs.ByWeek(nil, true); len(none) != 0 {
		t.Errorf("no needs are summed up as %v", none)
	}
}
