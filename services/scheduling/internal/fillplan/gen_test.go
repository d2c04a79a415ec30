package fillplan

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

// reference loads one of the committed instances.
func reference(t testing.TB, name string) *Instance {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "..", "testdata", "fillplan", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in, err := Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// smallInstance draws an instance small enough to enumerate.
func smallInstance(t *rapid.T) *Instance {
	num := func(name string, low, high int) int { return rapid.IntRange(low, high).Draw(t, name) }
	in := &Instance{Name: "drawn", Weeks: num("weeks", 1, 6), Farms: []string{"farm"}}
	for q := range num("products", 1, 2) {
		in.Products = append(in.Products, Product{
			ID: fmt.Sprint("product", q), ShortCents: int64(num("short", 0, 300)), OverCents: int64(num("over", 0, 100)),
		})
	}
	for g := range num("programmes", 1, 2) {
		p := Programme{
			ID: fmt.Sprint("programme", g), Weeks: num("occ", 1, 4), CompostKg: int64(num("compost", 0, 100)), CostCents: int64(num("cost", 0, 900)),
		}
		for range p.Weeks {
			row := make([]int64, len(in.Products))
			for q := range row {
				row[q] = int64(max(0, num("yield", -4000, 9000)))
			}
			p.YieldGrams = append(p.YieldGrams, row)
		}
		in.Programmes = append(in.Programmes, p)
	}
	for r := range num("rooms", 0, 3) {
		room := Room{ID: fmt.Sprint("room", r), Area: int64(num("area", 1, 3)) * 10, Free: num("free", 0, in.Weeks)}
		for g := range in.Programmes {
			if rapid.Bool().Draw(t, "allowed") {
				room.Programmes = append(room.Programmes, g)
			}
		}
		in.Rooms = append(in.Rooms, room)
	}
	for range in.Weeks {
		in.YardKg = append(in.YardKg, int64(num("yard", 0, 5000)))
	}
	for range in.Products {
		var supply, demand []int64
		for range in.Weeks {
			supply = append(supply, int64(max(0, num("supply", -100_000, 100_000))))
			demand = append(demand, int64(num("demand", 0, 300_000)))
		}
		in.SupplyGrams, in.DemandGrams = append(in.SupplyGrams, supply), append(in.DemandGrams, demand)
	}
	return in
}

// timelines lists every way to fill one room, the yard apart.
func timelines(in *Instance, room int) [][]Fill {
	var list [][]Fill
	var extend func(from int, path []Fill)
	extend = func(from int, path []Fill) {
		list = append(list, append([]Fill(nil), path...))
		for w := from; w < in.Weeks; w++ {
			for _, g := range in.Rooms[room].Programmes {
				extend(w+in.Programmes[g].Weeks, append(path, Fill{Room: room, Programme: g, Week: w}))
			}
		}
	}
	extend(in.Rooms[room].Free, nil)
	return list
}

// everyPlan calls f with every feasible plan until it returns false; it reports
// false when there are more than most plans to look at.
func everyPlan(in *Instance, most int, f func([]Fill)) bool {
	rooms := make([][][]Fill, len(in.Rooms))
	total := 1
	for r := range rooms {
		rooms[r] = timelines(in, r)
		if total *= len(rooms[r]); total > most {
			return false
		}
	}
	var extend func(r int, fills []Fill)
	extend = func(r int, fills []Fill) {
		if r < len(rooms) {
			for _, timeline := range rooms[r] {
				extend(r+1, append(fills[:len(fills):len(fills)], timeline...))
			}
			return
		}
		if Check(in, Plan{Instance: in.Name, Fills: fills}) == nil {
			f(fills)
		}
	}
	extend(0, nil)
	return true
}
