package main

import (
	"slices"
	"testing"
)

// Every id of a larger co-op is its own, and every reference leads within its part.
func TestGrowKeepsPartsApart(t *testing.T) {
	t.Parallel()
	small, large := build(), build()
	grow(large, 3)
	ids := func(files map[string]*file, name, column string) map[string]int {
		i := slices.Index(files[name].rows[0], column)
		if i < 0 {
			t.Fatalf("%s has no column %s", name, column)
		}
		seen := map[string]int{}
		for _, row := range files[name].rows[1:] {
			if row[i] != "" {
				seen[row[i]]++
			}
		}
		return seen
	}
	for _, of := range []struct{ name, id string }{{"farms.csv", "farm_id"}, {"rooms.csv", "room_id"}, {"customers.csv", "customer_id"}, {"crops.csv", "crop_id"}, {"lots.csv", "lot_id"}, {"slots.csv", "slot_id"}} {
		had, has := ids(small, of.name, of.id), ids(large, of.name, of.id)
		if len(has) != 3*len(had) {
			t.Errorf("%s has %d ids, want three times %d", of.name, len(has), len(had))
		}
		for id, n := range has {
			if n > 1 {
				t.Errorf("%s has %s %d times", of.name, id, n)
			}
		}
	}
	for _, ref := range []struct{ from, column, to string }{{"rooms.csv", "farm_id", "farms.csv"}, {"orders.csv", "customer_id", "customers.csv"}, {"deliveries.csv", "lot_id", "lots.csv"}, {"stages.csv", "crop_id", "crops.csv"}, {"orders.csv", "product_id", "products.csv"}} {
		known := ids(large, ref.to, ref.column)
		for id := range ids(large, ref.from, ref.column) {
			if known[id] == 0 {
				t.Errorf("%s speaks of %s, which %s has not", ref.from, id, ref.to)
			}
		}
	}
	if len(large["coop.csv"].rows) != 2 || len(large["products.csv"].rows) != len(small["products.csv"].rows) {
		t.Error("the co-op or its products came again")
	}
}
