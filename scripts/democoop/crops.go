package main

import (
	"math/rand/v2"
	"time"
)

// step is a recorded step of a programme: how many days it lies after the step before it,
// within the least and most days that the built-in programme allows.
type step struct {
	kind        string
	least, most int
}

// programme is what the generator needs of a built-in crop programme: the steps that a
// grower records, in order, and how it bears.
type programme struct {
	steps []step
	// interval between breaks in days, share of each break in per mille, grams per m².
	interval int
	shares   []int
	yield    int
	// compostGrams per m² and the phase in which the yard delivers it; "" for none.
	compostGrams int
	phase        string
	// held is how many days the room is taken from the first pick until it is free.
	held int
}

var bulkTwo = []step{{"filling", 0, 0}, {"spawning", 0, 1}, {"casing", 15, 19}, {"pinning", 7, 9}, {"cropping", 10, 12}}

var bulkThree = []step{{"filling", 0, 0}, {"casing", 0, 1}, {"pinning", 7, 9}, {"cropping", 10, 12}}

var shelves = []step{{"filling", 0, 0}, {"phase_two", 0, 1}, {"spawning", 10, 12}, {"casing", 15, 19}, {"pinning", 7, 9}, {"cropping", 10, 12}}

var agaricusShares = []int{420, 300, 180, 100}

var programmes = map[string]programme{
	"white-bulk-2":  {bulkTwo, 9, agaricusShares, 28_100, 99_300, "two", 38},
	"white-bulk-3":  {bulkThree, 9, agaricusShares, 28_100, 89_400, "three", 38},
	"white-shelves": {shelves, 9, agaricusShares, 28_100, 124_100, "one", 38},
	"brown-bulk-2":  {bulkTwo, 9, agaricusShares, 24_000, 99_300, "two", 38},
	"brown-shelves": {shelves, 9, agaricusShares, 24_000, 124_100, "one", 38},
	"oyster-bags": {
		[]step{{"filling", 0, 0}, {"spawning", 0, 0}, {"pinning", 15, 19}, {"cropping", 8, 11}},
		12, []int{480, 270, 160, 90}, 14_400, 0, "", 47,
	},
	"shiitake-blocks": {
		[]step{{"filling", 0, 0}, {"spawning", 0, 0}, {"pinning", 84, 96}, {"cropping", 8, 12}},
		17, []int{500, 300, 200}, 18_000, 0, "", 44,
	},
	"lions-mane-blocks": {
		[]step{{"filling", 0, 0}, {"spawning", 0, 0}, {"pinning", 12, 14}, {"cropping", 8, 10}},
		14, []int{650, 350}, 17_132, 0, "", 21,
	},
}

// crop is a running crop with the day of each step, past or still expected.
type crop struct {
	id string
	room
	programme
	fill, firstPick time.Time
}

// compostKilos is what the room takes, in full hundreds.
func (c crop) compostKilos() int { return (c.area*c.compostGrams/1000 + 99) / 100 * 100 }

// writeCrops writes crops.csv and stages.csv and returns the running crops.
func writeCrops(files map[string]*file, chance *rand.Rand) []crop {
	f := newFile("crop_id,room_id,programme_id,fill_date,first_pick_date")
	recorded := newFile("crop_id,kind,date")
	var running []crop
	for _, r := range rooms {
		if r.empty {
			continue
		}
		c := crop{room: r, programme: programmes[r.programme], firstPick: after(day, -r.since)}
		days := c.stepDays(chance)
		c.fill = days[0]
		c.id = r.id + "-" + compact(c.fill)
		f.add(c.id, r.id, r.programme, date(c.fill), "")
		for i, s := range c.steps {
			if days[i].Before(now) {
				recorded.add(c.id, s.kind, date(days[i]))
			}
		}
		running = append(running, c)
	}
	for _, p := range plans {
		f.add(p.crop, p.room, p.programme, p.fill, p.firstPick)
	}
	files["crops.csv"], files["stages.csv"] = f, recorded
	return running
}

// stepDays goes backwards from the first pick, each step within its range, and again until
// nobody had to work on a Sunday.
func (c crop) stepDays(chance *rand.Rand) []time.Time {
	days := make([]time.Time, len(c.steps))
	for {
		at, sundays := c.firstPick, 0
		for i := len(c.steps) - 1; i >= 0; i-- {
			days[i] = at
			if at.Weekday() == time.Sunday && c.steps[i].kind != "cropping" {
				sundays++
			}
			at = after(at, -c.steps[i].least-chance.IntN(c.steps[i].most-c.steps[i].least+1))
		}
		if sundays == 0 {
			return days
		}
	}
}

// plan is a crop to come, planned from one of its two dates.
type plan struct{ crop, room, programme, fill, firstPick string }

var plans = []plan{
	{"windlestraw-3-20261202", "windlestraw-3", "brown-bulk-2", "2026-12-02", ""},
	{"thistledown-5-20261203", "thistledown-5", "white-bulk-2", "2026-12-03", ""},
	{"otterbank-1-20261208", "otterbank-1", "white-bulk-3", "2026-12-08", ""},
	{"thistledown-2-20261216", "thistledown-2", "white-bulk-2", "2026-12-16", ""},
	{"otterbank-4-20261217", "otterbank-4", "white-bulk-3", "2026-12-17", ""},
	{"lantern-barn-4-winter", "lantern-barn-4", "lions-mane-blocks", "", "2027-01-06"},
	{"hazel-hollow-3-winter", "hazel-hollow-3", "brown-shelves", "", "2027-02-14"},
}
