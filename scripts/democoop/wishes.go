package main

// wish is what a kitchen wishes beside packs.
type wish struct {
	kitchen, zone  string
	weight         int // 0 for 1
	excluded, only string
	oneFarm        bool
	instead        []instead
}

// instead is a product taken in place of another, with reluctance in cents.
type instead struct {
	ordered, taken string
	reluctance     int
}

// Reluctance: an open mushroom is another dish than a veiled one, and more so than a closed one.
// There are none of them on the day of the demonstration, so that its figures by product, offered
// and ordered, can be read side by side.
var (
	openForVeiled = instead{"brown-veiled-1500g", "brown-open-2kg", 200}
	openForClosed = instead{"brown-closed-1500g", "brown-open-2kg", 350}
)

var wishes = []wish{
	{"saint-brannoc-infirmary", "quay", 0, "", "", true, []instead{openForVeiled}},
	{"copperbeech-school", "", 2, "", "", false, []instead{openForVeiled, openForClosed}},
	{"the-glass-heron", "upland", 0, "windlestraw", "", true, nil},
	{"quayside-nine", "quay", 0, "", "", false, []instead{openForVeiled}},
	{"the-plough-and-plover", "upland", 0, "", "windlestraw", false, nil},
	{"juniper-and-rye", "quay", 0, "", "", false, []instead{openForVeiled, openForClosed}},
	{"nonna-pia", "quay", 2, "", "", true, []instead{openForVeiled}},
	{"harbour-light-hotel", "quay", 2, "", "", false, []instead{openForClosed}},
	{"two-ovens", "upland", 0, "thistledown", "", false, nil},
	{"mulberry-court", "", 0, "", "", false, []instead{openForClosed}},
	{"ember-street", "quay", 0, "", "", false, []instead{openForVeiled}},
}

// quay and upland are what a kilogram costs to carry from each farm to the kitchens of the two
// zones that the van does not reach by way of the hub, in cents.
var quay = []int{12, 20, 9, 26, 15, 4}
var upland = []int{13, 16, 14, 8, 17, 18}

// writeWishes writes what kitchens wish, and the rules of matches. Mushrooms that nobody
// bought cost a little more than broken promises, so that a little more than what is likely is promised.
func writeWishes(files map[string]*file) {
	w := newFile("customer_id,zone_id,share_weight,excluded_farm_ids,only_farm_id,one_farm,poorer_steps,better_steps,reluctance_minor_per_step")
	s := newFile("customer_id,product_id,instead_product_id,reluctance_minor")
	for _, k := range wishes {
		weight, oneFarm := any(k.weight), ""
		if k.weight == 0 {
			weight = ""
		}
		if k.oneFarm {
			oneFarm = "yes"
		}
		w.add(k.kitchen, k.zone, weight, k.excluded, k.only, oneFarm, "", "", "")
		for _, i := range k.instead {
			s.add(k.kitchen, i.ordered, i.taken, i.reluctance)
		}
	}
	files["wishes.csv"], files["substitutes.csv"] = w, s
	m := newFile("short_rule,left_rule,season_tilt_percent,season_start,correlation_thousandths,grades")
	m.add("by_weight", "by_offer", 50, "2026-09-01", 200, "I+II")
	files["match_settings.csv"] = m
	p := newFile("product_id,broken_minor_per_kg,unsold_minor_per_kg")
	p.add("", 430, 470)
	files["promise_costs.csv"] = p
	z := newFile("farm_id,zone_id,minor_per_kg")
	for i, f := range farms {
		z.add(f.id, "quay", quay[i])
		z.add(f.id, "upland", upland[i])
	}
	files["zone_costs.csv"] = z
}
