package main

// farm is a member, room one of its growing rooms with the crop that stands in it.
type farm struct {
	id, name, place string
	shares, carry   int
}

type room struct {
	id, farm, name, system string
	area                   int
	programme              string
	// since is how many days before the demonstration day the first pick was; negative: it
	// is still to come. Meaningless where the room is empty.
	since int
	empty bool
}

var farms = []farm{
	{"thistledown", "Thistledown Farm", "Nether Wick", 140, 14},
	{"hazel-hollow", "Hazel Hollow", "Corran Cross", 110, 18},
	{"otterbank", "Otterbank Mushrooms", "Lower Sallow", 100, 11},
	{"windlestraw", "Windlestraw Growers", "High Barrow", 80, 23},
	{"lantern-barn", "The Lantern Barn", "Pennard Mill", 60, 16},
	{"sextons-cellar", "Sexton's Cellar", "Old Saltby", 30, 9},
}

var rooms = []room{
	{"thistledown-1", "thistledown", "House 1", "bulk_phase_two", 26, "white-bulk-2", 2, false},
	{"thistledown-2", "thistledown", "House 2", "bulk_phase_two", 26, "white-bulk-2", 20, false},
	{"thistledown-3", "thistledown", "House 3", "bulk_phase_two", 26, "white-bulk-2", -12, false},
	{"thistledown-4", "thistledown", "House 4", "bulk_phase_two", 22, "brown-bulk-2", 10, false},
	{"thistledown-5", "thistledown", "House 5", "bulk_phase_two", 22, "brown-bulk-2", 33, false},
	{"hazel-hollow-1", "hazel-hollow", "Long shelf room", "shelves", 24, "white-shelves", 1, false},
	{"hazel-hollow-2", "hazel-hollow", "North shelf room", "shelves", 24, "white-shelves", -30, false},
	{"hazel-hollow-3", "hazel-hollow", "Stone room", "shelves", 20, "brown-shelves", 11, false},
	{"hazel-hollow-4", "hazel-hollow", "Cart room", "shelves", 20, "brown-shelves", -6, false},
	{"otterbank-1", "otterbank", "Bay 1", "bulk_phase_three", 24, "white-bulk-3", 28, false},
	{"otterbank-2", "otterbank", "Bay 2", "bulk_phase_three", 24, "white-bulk-3", 12, false},
	{"otterbank-3", "otterbank", "Bay 3", "bulk_phase_three", 24, "white-bulk-3", -4, false},
	{"otterbank-4", "otterbank", "Bay 4", "bulk_phase_three", 24, "white-bulk-3", 19, false},
	{"windlestraw-1", "windlestraw", "Lee room", "bulk_phase_two", 28, "white-bulk-2", 5, false},
	{"windlestraw-2", "windlestraw", "Weather room", "bulk_phase_two", 24, "brown-bulk-2", 3, false},
	{"windlestraw-3", "windlestraw", "Spare room", "bulk_phase_two", 24, "brown-bulk-2", 0, true},
	{"lantern-barn-1", "lantern-barn", "Bag loft", "bags", 18, "oyster-bags", 1, false},
	{"lantern-barn-2", "lantern-barn", "Hay floor", "bags", 18, "oyster-bags", 14, false},
	{"lantern-barn-3", "lantern-barn", "Block room", "bags", 16, "shiitake-blocks", 18, false},
	{"lantern-barn-4", "lantern-barn", "White room", "bags", 10, "lions-mane-blocks", 5, false},
	{"sextons-cellar-1", "sextons-cellar", "Barrel vault", "bags", 14, "oyster-bags", 2, false},
	{"sextons-cellar-2", "sextons-cellar", "Bell vault", "bags", 14, "shiitake-blocks", -20, false},
}

// product is what is sold; value in cents.
type product struct {
	id, name, species, stage, size string
	grams, value, shelfDays        int
}

var products = []product{
	{"white-closed-1500g", "White closed cups, 1.5 kg", "white mushroom", "closed", "medium", 1500, 720, 3},
	{"white-closed-250g", "White closed cups, 250 g", "white mushroom", "closed", "small", 250, 165, 3},
	{"white-veiled-1500g", "White veiled cups, 1.5 kg", "white mushroom", "veiled", "medium", 1500, 660, 2},
	{"white-open-2kg", "White open caps, 2 kg", "white mushroom", "open", "large", 2000, 760, 2},
	{"brown-closed-1500g", "Brown closed cups, 1.5 kg", "brown mushroom", "closed", "medium", 1500, 825, 3},
	{"brown-veiled-1500g", "Brown veiled cups, 1.5 kg", "brown mushroom", "veiled", "medium", 1500, 780, 2},
	{"brown-open-2kg", "Brown open caps, 2 kg", "brown mushroom", "open", "large", 2000, 920, 2},
	{"oyster-1kg", "Oyster clusters, 1 kg", "oyster mushroom", "", "", 1000, 950, 2},
	{"oyster-250g", "Oyster clusters, 250 g", "oyster mushroom", "", "", 250, 290, 2},
	{"shiitake-1kg", "Shiitake, 1 kg", "shiitake", "", "", 1000, 1350, 4},
	{"shiitake-200g", "Shiitake, 200 g", "shiitake", "", "small", 200, 330, 4},
	{"lions-mane-500g", "Lion's mane heads, 500 g", "lion's mane", "", "", 500, 1150, 1},
}

// kitchen buys; size is how many portions it cooks beside the others.
type kitchen struct {
	id, name, place string
	class, size     int
}

var kitchens = []kitchen{
	{"saint-brannoc-infirmary", "Saint Brannoc Infirmary Kitchen", "Old Saltby", 1, 9},
	{"copperbeech-school", "Copperbeech School Kitchens", "Nether Wick", 1, 7},
	{"the-glass-heron", "The Glass Heron", "Pennard Mill", 1, 4},
	{"quayside-nine", "Quayside Nine", "Old Saltby", 1, 5},
	{"the-plough-and-plover", "The Plough and Plover", "High Barrow", 2, 3},
	{"marigold-table", "Marigold Table", "Old Saltby", 2, 3},
	{"juniper-and-rye", "Juniper & Rye", "Old Saltby", 2, 4},
	{"the-tin-kettle", "The Tin Kettle", "Corran Cross", 2, 2},
	{"bakehouse-row", "Bakehouse Row", "Nether Wick", 2, 3},
	{"the-salt-cellar", "The Salt Cellar", "Old Saltby", 2, 4},
	{"elderflower-rooms", "Elderflower Rooms", "Pennard Mill", 2, 2},
	{"nonna-pia", "Nonna Pia", "Old Saltby", 2, 5},
	{"the-long-spoon", "The Long Spoon", "Lower Sallow", 2, 3},
	{"harbour-light-hotel", "Harbour Light Hotel", "Old Saltby", 2, 6},
	{"the-wren-kitchen", "The Wren Kitchen", "High Barrow", 2, 2},
	{"two-ovens", "Two Ovens", "Corran Cross", 2, 3},
	{"mulberry-court", "Mulberry Court", "Nether Wick", 2, 4},
	{"the-green-ladle", "The Green Ladle", "Old Saltby", 2, 3},
	{"saffron-lane", "Saffron Lane", "Old Saltby", 3, 3},
	{"the-cobblers-rest", "The Cobbler's Rest", "Lower Sallow", 3, 2},
	{"pear-tree-suppers", "Pear Tree Suppers", "Pennard Mill", 3, 2},
	{"ember-street", "Ember Street", "Old Saltby", 3, 4},
	{"the-lamplighter", "The Lamplighter", "Nether Wick", 3, 2},
	{"field-and-ferry", "Field and Ferry", "Lower Sallow", 3, 3},
	{"little-owl-noodles", "Little Owl Noodles", "Old Saltby", 3, 4},
	{"the-weighbridge", "The Weighbridge", "Corran Cross", 3, 2},
}

func writeMembers(files map[string]*file) {
	coop := newFile("coop_id,name,time_zone,currency_code")
	coop.add("0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a57", "Seven Wells Growers", "Europe/Dublin", "EUR")
	files["coop.csv"] = coop

	f := newFile("farm_id,name,place,member_shares,carry_cost_minor_per_kg")
	for _, m := range farms {
		f.add(m.id, m.name, m.place, m.shares, m.carry)
	}
	files["farms.csv"] = f

	f = newFile("room_id,farm_id,name,area_m2,growing_system")
	for _, r := range rooms {
		f.add(r.id, r.farm, r.name, r.area, r.system)
	}
	files["rooms.csv"] = f

	f = newFile("yard_id,name,place")
	f.add("stonepit", "Stonepit Compost", "High Barrow")
	f.add("rushmere", "Rushmere Yard", "Lower Sallow")
	files["yards.csv"] = f

	f = newFile("product_id,name,species,strain,pick_stage,size,grade,pack_grams,pack_value_minor,shelf_life_days")
	for _, p := range products {
		f.add(p.id, p.name, p.species, "", p.stage, p.size, "I", p.grams, p.value, p.shelfDays)
	}
	files["products.csv"] = f

	f = newFile("customer_id,name,place,priority_class")
	for _, k := range kitchens {
		f.add(k.id, k.name, k.place, k.class)
	}
	files["customers.csv"] = f
}
