package genealogy

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/harvest/internal/day"
)

func TestWhatIsFoundOutAboutCompostFollowsThePick(t *testing.T) {
	t.Parallel()
	deliveries := []Delivery{
		{ID: "d1", CompostID: "q-2", RoomID: "r1", CropID: "old", Kilograms: 9000, Day: nov(-55)},
		{ID: "d2", CompostID: "q-1", RoomID: "r1", CropID: "old", Kilograms: 9000, Day: nov(-55)},
		{ID: "d3", CompostID: "q-1", RoomID: "r1", CropID: "old", Kilograms: 500, Day: nov(-54)},
		{ID: "d4", CompostID: "q-3", RoomID: "r1", CropID: "next", Kilograms: 18000, Day: nov(23)},
	}
	compost := []Compost{
		{ID: "q-1", Held: true, HoldReason: "probe 4 was stuck"},
		{ID: "q-2", Exception: "oxygen not logged"},
		{ID: "q-3", Held: true},
	}
	b := New([]Crop{old(), next()}, deliveries, compost)
	for _, tt := range []struct {
		lot  PickLot
		want Origin
	}{
		{PickLot{RoomID: "r1", Day: nov(19)}, Origin{
			CropID: "old", CompostIDs: []string{"q-1", "q-2"}, Held: true,
			Reason:    "compost lot q-1 is held: probe 4 was stuck",
			Exception: "compost lot q-2 was released by exception: oxygen not logged",
		}},
		{PickLot{RoomID: "r1", Day: nov(70)}, Origin{CropID: "next", CompostIDs: []string{"q-3"}, Held: true, Reason: "compost lot q-3 is held"}},
		{PickLot{RoomID: "r1", Day: nov(200), CropID: "next"}, Origin{CropID: "next", CompostIDs: []string{"q-3"}, Held: true, Reason: "compost lot q-3 is held"}},
		{PickLot{RoomID: "r1", Day: nov(200)}, Origin{}},
	} {
		if diff := cmp.Diff(tt.want, b.Back(tt.lot)); diff != "" {
			t.Errorf("%+v (-want +got):\n%s", tt.lot, diff)
		}
	}
	if got := b.Under("old"); len(got) != 3 || got[2].ID != "d3" {
		t.Errorf("under the old crop lie %+v", got)
	}
}

// facts draws what might be known of a small co-op, slips included: crops that
// overlap, deliveries to the wrong room, unknown crops and lots.
type facts struct {
	crops      []Crop
	deliveries []Delivery
	compost    []Compost
	lots       []PickLot
}

func drawFacts(t *rapid.T) facts {
	name := func(kind string, n int) *rapid.Generator[string] {
		return rapid.Map(rapid.IntRange(1, n), func(i int) string { return fmt.Sprint(kind, i) })
	}
	date := rapid.Map(rapid.IntRange(0, 200), func(d int) day.Date { return nov(d) })
	var f facts
	for i := range rapid.IntRange(0, 8).Draw(t, "crops") {
		fill := date.Draw(t, "fill")
		first := fill.Add(rapid.IntRange(0, 40).Draw(t, "to first pick"))
		f.crops = append(f.crops, Crop{
			ID: fmt.Sprint("crop", i), RoomID: name("room", 3).Draw(t, "room"), Fill: fill, FirstPick: first,
			Free:   first.Add(rapid.IntRange(-2, 40).Draw(t, "picking")),
			Filled: rapid.Bool().Draw(t, "filled"), Ended: rapid.Bool().Draw(t, "ended"),
		})
	}
	for i := range rapid.IntRange(0, 8).Draw(t, "deliveries") {
		f.deliveries = append(f.deliveries, Delivery{
			ID: fmt.Sprint("d", i), CompostID: name("lot", 4).Draw(t, "compost"), RoomID: name("room", 3).Draw(t, "to"),
			CropID: rapid.SampledFrom([]string{"", "crop0", "crop1", "crop9"}).Draw(t, "noted"), Day: date.Draw(t, "on"),
		})
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "known compost") {
		f.compost = append(f.compost, Compost{ID: fmt.Sprint("lot", i+1), Held: rapid.Bool().Draw(t, "held")})
	}
	for range rapid.IntRange(1, 6).Draw(t, "pick lots") {
		f.lots = append(f.lots, PickLot{RoomID: name("room", 3).Draw(t, "picked in"), Day: date.Draw(t, "picked on")})
	}
	return f
}

func (f facts) book() *Book { return New(f.crops, f.deliveries, f.compost) }

// Backwards and forwards are one relation: compost lies under a pick lot just
// when the lot's crop is among those that stand on it.
func TestBackAndForwardAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		b := f.book()
		for _, lot := range f.lots {
			o := b.Back(lot)
			for i := 1; i <= 4; i++ {
				id := fmt.Sprint("lot", i)
				forward := slices.ContainsFunc(b.Forward(id), func(c Crop) bool { return c.ID == o.CropID })
				if back := slices.Contains(o.CompostIDs, id); back != forward {
					t.Fatalf("%s under %+v: back says %v, forward says %v", id, lot, back, forward)
				}
			}
		}
	})
}

// A pick lot is held just when one of the lots under it is, and every delivery
// to a room with a crop filled that week is under some crop.
func TestHoldFollowsTheCompost(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		b := f.book()
		for _, lot := range f.lots {
			o := b.Back(lot)
			held := false
			for _, d := range b.Under(o.CropID) {
				c, known := b.Compost(d.CompostID)
				held = held || known && c.Held
			}
			if o.Held != held || o.Held != (o.Reason != "") {
				t.Fatalf("%+v: held %v (%q), its compost %v", lot, o.Held, o.Reason, held)
			}
			if crop, ok := b.CropOn(lot.RoomID, lot.Day); ok && (crop.RoomID != lot.RoomID || crop.Fill > lot.Day) {
				t.Fatalf("%+v comes from %+v", lot, crop)
			}
		}
		for _, d := range f.deliveries {
			for _, c := range f.crops {
				if c.RoomID == d.RoomID && c.Fill == d.Day && c.Free > c.Fill && len(b.Forward(d.CompostID)) == 0 {
					t.Fatalf("%+v is under no crop, though %+v was filled that day", d, c)
				}
			}
		}
	})
}

// Where crops do not overlap, the one whose days hold the day is the answer.
func TestCropOnFollowsAChainOfCrops(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var crops []Crop
		next := nov(1)
		for i := range rapid.IntRange(1, 6).Draw(t, "crops") {
			fill := next.Add(rapid.IntRange(0, 10).Draw(t, "idle"))
			first := fill.Add(rapid.IntRange(0, 30).Draw(t, "to first pick"))
			next = first.Add(rapid.IntRange(1, 30).Draw(t, "picking"))
			crops = append(crops, Crop{ID: fmt.Sprint(i), RoomID: "r", Fill: fill, FirstPick: first, Free: next, Filled: true, Ended: true})
		}
		b := New(rapid.Permutation(crops).Draw(t, "told"), nil, nil)
		for _, c := range crops {
			on := c.Fill.Add(rapid.IntRange(0, c.Free.Sub(c.Fill)-1).Draw(t, "day"))
			if got, _ := b.CropOn("r", on); got.ID != c.ID {
				t.Fatalf("on %v the room holds crop %q, want %q", on, got.ID, c.ID)
			}
		}
	})
}

// The same facts in another order, or told twice, give the same tree.
func TestOrderOfFactsIsIrrelevant(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFacts(t)
		a := f.book()
		b := New(
			rapid.Permutation(slices.Concat(f.crops, f.crops)).Draw(t, "crops told"),
			rapid.Permutation(slices.Concat(f.deliveries, f.deliveries)).Draw(t, "deliveries told"),
			rapid.Permutation(f.compost).Draw(t, "compost told"))
		for _, lot := range f.lots {
			if diff := cmp.Diff(a.Back(lot), b.Back(lot)); diff != "" {
				t.Fatal(diff)
			}
		}
		for i := 1; i <= 4; i++ {
			if diff := cmp.Diff(a.Forward(fmt.Sprint("lot", i)), b.Forward(fmt.Sprint("lot", i))); diff != "" {
				t.Fatal(diff)
			}
		}
	})
}
