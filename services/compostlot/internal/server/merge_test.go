package server

import (
	"maps"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"breakshare.example/services/compostlot/internal/store"
)

// day makes the columns of a day from a map of seconds to values.
func day(of map[int32]int32) store.Day {
	d := dayKey{}.row()
	for _, s := range slices.Sorted(maps.Keys(of)) {
		d.Seconds, d.Thousandths = append(d.Seconds, s), append(d.Thousandths, of[s])
	}
	return d
}

// Merging is joining two maps: what was there stays, what is new is counted, and whatever
// differs is refused.
func TestMergeJoins(t *testing.T) {
	t.Parallel()
	second, value := rapid.Int32Range(0, 30), rapid.Int32Range(0, 3)
	rapid.Check(t, func(t *rapid.T) {
		known := rapid.MapOf(second, value).Draw(t, "known")
		want, differs, fresh := maps.Clone(known), false, 0
		c := &column{}
		for i, s := range rapid.SliceOf(second).Draw(t, "seconds") {
			v := value.Draw(t, "value")
			if rapid.IntRange(0, 9).Draw(t, "keep") > 0 && hasKey(want, s) {
				v = want[s]
			}
			c.second, c.value, c.index = append(c.second, s), append(c.value, v), append(c.index, int32(i))
			old, there := want[s]
			differs = differs || there && old != v
			if !there {
				fresh++
			}
			want[s] = v
		}
		merged, added, err := c.merge(dayKey{}, day(known))
		if (err != nil) != differs {
			t.Fatalf("error %v, differing values: %v", err, differs)
		}
		if differs {
			return
		}
		if diff := cmp.Diff(day(want), merged, cmpopts.EquateEmpty()); diff != "" || added != fresh {
			t.Fatalf("added %d of %d (-want +got):\n%s", added, fresh, diff)
		}
	})
}

func hasKey(m map[int32]int32, k int32) bool { _, ok := m[k]; return ok }
