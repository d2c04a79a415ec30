package main

import (
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// Days of expected picks before the demonstration day, itself included.
const history = 14

// breakCurve is how one break is spread over the days on which it is picked, per mille.
var breakCurve = []int{120, 280, 300, 200, 100}

// pickers weigh in; each farm has two.
var pickers = map[string][]string{
	"thistledown": {"Mara Quill", "Jem Askew"}, "hazel-hollow": {"Ines Fallow", "Tod Barley"},
	"otterbank": {"Wil Sedge", "Ada Crane"}, "windlestraw": {"Ros Hayle", "Kit Orme"},
	"lantern-barn": {"Noor Lamb", "Ben Tarrow"}, "sextons-cellar": {"Fay Molloy", "Gus Penn"},
}

// expected is one line of expected_picks.csv.
type expected struct {
	crop        crop
	product     product
	day         time.Time
	likely      int // grams
	breakNumber int
}

// breakOn is the break that is picked on a day and how far into it the day is; false between
// breaks and before the first.
func (c crop) breakOn(t time.Time) (number, into int, ok bool) {
	since := int(t.Sub(c.firstPick).Hours()) / 24
	if since < 0 {
		return 0, 0, false
	}
	number, into = since/c.interval, since%c.interval
	return number + 1, into, number < len(c.shares) && into < len(breakCurve)
}

// part is how much of what a room gives goes into one product, per mille.
type part struct {
	product string
	share   int
}

// parts says how a room's day is picked and packed: closed early in a break, more open as it
// ends.
func (c crop) parts(into int) []part {
	switch {
	case strings.HasPrefix(c.room.programme, "white") && into < 3:
		return []part{{"white-closed-1500g", 440}, {"white-closed-250g", 110}, {"white-veiled-1500g", 350}, {"white-open-2kg", 100}}
	case strings.HasPrefix(c.room.programme, "white"):
		return []part{{"white-closed-1500g", 330}, {"white-closed-250g", 70}, {"white-veiled-1500g", 350}, {"white-open-2kg", 250}}
	case strings.HasPrefix(c.room.programme, "brown") && into < 4:
		return []part{{"brown-closed-1500g", 480}, {"brown-veiled-1500g", 520}}
	case strings.HasPrefix(c.room.programme, "brown"):
		return []part{{"brown-closed-1500g", 200}, {"brown-veiled-1500g", 400}, {"brown-open-2kg", 400}}
	case strings.HasPrefix(c.room.programme, "oyster"):
		return []part{{"oyster-1kg", 720}, {"oyster-250g", 280}}
	case strings.HasPrefix(c.room.programme, "shiitake"):
		return []part{{"shiitake-1kg", 650}, {"shiitake-200g", 350}}
	default:
		return []part{{"lions-mane-500g", 1000}}
	}
}

func productOf(id string) product {
	return products[slices.IndexFunc(products, func(p product) bool { return p.id == id })]
}

// writeSupply writes expected_picks.csv and picks.csv and returns what is offered on the
// demonstration day, in packs by product.
func writeSupply(files map[string]*file, crops []crop, chance *rand.Rand) map[string]int {
	f := newFile("room_id,product_id,date,low_grams,likely_grams,high_grams")
	picks := newFile("room_id,product_id,date,gross_grams,tare_grams,crates,picker,break_number")
	offered := make(map[string]int)
	for d := range history {
		t := after(day, d+1-history)
		for _, c := range crops {
			for _, e := range c.expect(t, chance) {
				f.add(e.crop.room.id, e.product.id, date(t), e.likely*8/10/500*500, e.likely, (e.likely*12/10+499)/500*500)
				switch {
				case t.Equal(day):
					offered[e.product.id] += e.likely / e.product.grams
					weigh(picks, e, e.likely*(90+chance.IntN(19))/100, chance)
				case inStore(t, e):
					kept := max(2, e.likely*(14+chance.IntN(8))/100/e.product.grams)*e.product.grams + 10*chance.IntN(20)
					weigh(picks, e, kept, chance)
					if days := int(day.Sub(t).Hours()) / 24; days <= e.product.shelfDays {
						offered[e.product.id] += kept / e.product.grams
					}
				}
			}
		}
	}
	files["expected_picks.csv"], files["picks.csv"] = f, picks
	return offered
}

// expect is what the grower of a crop expects of a day, in half kilograms.
func (c crop) expect(t time.Time, chance *rand.Rand) []expected {
	number, into, ok := c.breakOn(t)
	if !ok {
		return nil
	}
	grams := c.area * c.yield * c.shares[number-1] / 1000 * breakCurve[into] / 1000
	grams = grams * (92 + chance.IntN(17)) / 100
	var out []expected
	for _, p := range c.parts(into) {
		if likely := grams * p.share / 1000 / 500 * 500; likely > 0 {
			out = append(out, expected{c, productOf(p.product), t, likely, number})
		}
	}
	return out
}

// inStore says what of earlier days still stands in the cold store on the afternoon before
// the demonstration day: some of that day's own pick, and lion's mane that nobody took.
func inStore(t time.Time, e expected) bool {
	switch e.product.id {
	case "lions-mane-500g":
		return t.Equal(after(day, -2))
	case "white-veiled-1500g", "white-open-2kg", "brown-veiled-1500g", "oyster-250g", "shiitake-200g", "white-closed-250g":
		// Of rooms that are near the end of a break: elsewhere all of the day was sold, and is not
		// in the files.
		_, into, _ := e.crop.breakOn(t)
		return t.Equal(after(day, -1)) && e.likely >= 4000 && into >= 3
	default:
		return false
	}
}

// weigh writes the weighings of one lot: one for each 30 kg or part of it.
func weigh(picks *file, e expected, net int, chance *rand.Rand) {
	const most = 30_000
	names := pickers[e.crop.farm]
	for i := 0; net > 0; i++ {
		now := min(net, most)
		crates := (now + 2999) / 3000
		tare := crates*350 + chance.IntN(3)*10
		picks.add(e.crop.room.id, e.product.id, date(e.day), now+tare, tare, crates, names[i%len(names)], e.breakNumber)
		net -= now
	}
}
