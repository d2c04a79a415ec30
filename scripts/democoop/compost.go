package main

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"
)

// lot is one batch of compost with the crops that stand on it.
type lot struct {
	id, yard, slot, phase string
	filled                time.Time // tunnel filled; of phase one: bunker filled
	made                  int
	crops                 []crop
	// lost is a stretch of conditioning during which probe p2 logged nothing; it ends a
	// lot's proof and makes its release an exception.
	lost time.Duration
}

// The steps of phase II in a tunnel, hours after filling.
const (
	pasteuriseAt = 8
	conditionAt  = 13
	coolAt       = 121
	cooledAt     = 131
)

const hour = time.Hour

// yardOf says where a phase is made.
func yardOf(phase string) string {
	if phase == "one" {
		return "rushmere"
	}
	return "stonepit"
}

// makeLots gathers crops of one phase that were filled within three days into one lot each.
func makeLots(crops []crop) []lot {
	byFill := slices.Clone(crops)
	slices.SortStableFunc(byFill, func(a, b crop) int { return cmp.Or(cmp.Compare(a.phase, b.phase), a.fill.Compare(b.fill)) })
	var lots []lot
	for _, c := range byFill {
		if c.phase == "" {
			continue
		}
		if n := len(lots); n > 0 && lots[n-1].phase == c.phase && c.fill.Sub(lots[n-1].crops[0].fill) <= 72*hour {
			lots[n-1].crops = append(lots[n-1].crops, c)
			continue
		}
		lots = append(lots, lot{phase: c.phase, yard: yardOf(c.phase), crops: []crop{c}})
	}
	for i := range lots {
		l := &lots[i]
		first := l.crops[0].fill
		_, week := first.ISOWeek()
		l.id = fmt.Sprintf("%s-%02d-%02d%s", l.yard, first.Year()%100, week, map[string]string{"one": "", "two": "a", "three": "c"}[l.phase])
		for _, c := range l.crops {
			l.made += c.compostKilos()
		}
		l.made += 200 // what a full tunnel gives beyond what was asked
		switch l.phase {
		case "one":
			l.filled = after(first, -11)
		case "two":
			l.filled = first.Add(-cooledAt*hour - 14*hour)
		case "three": // spawn run in the tunnel after cooling
			l.filled = after(first, -17).Add(-cooledAt*hour - 14*hour)
		}
	}
	return lots
}

func writeCompost(files map[string]*file, crops []crop, chance *rand.Rand) {
	lots := makeLots(crops)
	for i := range lots {
		// One lot has a hole in its evidence and was released all the same, with a reason.
		if lots[i].phase == "two" && len(lots[i].crops) == 1 && lots[i].crops[0].room.id == "thistledown-2" {
			lots[i].lost = 22 * hour
		}
	}
	begun := lot{
		id: "stonepit-26-49a", yard: "stonepit", slot: "stonepit-20261202", phase: "two",
		filled: time.Date(2026, time.November, 24, 17, 0, 0, 0, time.UTC), made: 4000,
	}
	all := append(slices.Clone(lots), begun)

	f := newFile("lot_id,yard_id,slot_id,phase,started_date,made_kg")
	marks := newFile("lot_id,mark,time")
	readings := newFile("lot_id,probe_id,kind,time,value")
	for _, l := range all {
		started := after(l.filled, -11)
		if l.phase == "one" {
			started = after(l.filled, -5)
		}
		f.add(l.id, l.yard, l.slot, l.phase, date(started), l.made)
		if l.phase == "one" {
			writePhaseOne(l, marks, readings, chance)
			continue
		}
		writePhaseTwo(l, marks, readings, chance)
	}
	files["lots.csv"], files["lot_marks.csv"], files["readings.csv"] = f, marks, readings
	writeReleases(files, lots)
	writeSlots(files)
}

func writeReleases(files map[string]*file, lots []lot) {
	releases := newFile("lot_id,released_by,released_at,exception_reason")
	deliveries := newFile("lot_id,farm_id,room_id,crop_id,delivered_kg,delivered_at")
	for _, l := range lots {
		by := map[string]string{"stonepit": "Orla Tennant", "rushmere": "Piet Vasey"}[l.yard]
		reason := ""
		if l.lost > 0 {
			reason = "Probe p2 lost its cable for 22 hours of conditioning; p1 beside it stayed within 46 to 49 °C."
		}
		at := l.filled.Add(cooledAt*hour + 3*hour + 30*time.Minute)
		if l.phase == "one" {
			at = l.crops[0].fill.Add(6 * hour)
		}
		releases.add(l.id, by, at, reason)
		for _, c := range l.crops {
			deliveries.add(l.id, c.farm, c.room.id, c.id, c.compostKilos(), c.fill.Add(7*hour+30*time.Minute))
		}
	}
	files["releases.csv"], files["deliveries.csv"] = releases, deliveries
}

func writeSlots(files map[string]*file) {
	f := newFile("slot_id,yard_id,ready_date,phase,capacity_kg,smallest_lot_kg,price_minor_per_tonne,request_cutoff")
	f.add("stonepit-20261202", "stonepit", "2026-12-02", "two", 4000, 500, 9800, "2026-11-27T12:00:00Z")
	f.add("stonepit-20261208", "stonepit", "2026-12-08", "three", 2000, 500, 21500, "2026-11-30T12:00:00Z")
	f.add("stonepit-20261216", "stonepit", "2026-12-16", "two", 5500, 500, 9800, "2026-12-07T12:00:00Z")
	f.add("stonepit-20261217", "stonepit", "2026-12-17", "three", 4500, 500, 21500, "2026-12-07T12:00:00Z")
	f.add("rushmere-20261222", "rushmere", "2026-12-22", "one", 6000, 0, 5400, "2026-12-10T12:00:00Z")
	f.add("rushmere-20261229", "rushmere", "2026-12-29", "one", 3000, 0, 5400, "2026-12-14T12:00:00Z")
	files["slots.csv"] = f

	f = newFile("compost_request_id,farm_id,room_id,crop_id,wanted_kg,smallest_useful_kg,whole_fill,earliest_date,latest_date,phases")
	f.add("windlestraw-3-dec", "windlestraw", "windlestraw-3", "windlestraw-3-20261202", 2400, 1500, "no", "2026-12-01", "2026-12-03", "two")
	f.add("thistledown-5-dec", "thistledown", "thistledown-5", "thistledown-5-20261203", 2200, 1200, "no", "2026-12-02", "2026-12-04", "two")
	f.add("otterbank-1-dec", "otterbank", "otterbank-1", "otterbank-1-20261208", 2200, 1800, "no", "2026-12-07", "2026-12-09", "three")
	f.add("thistledown-2-dec", "thistledown", "thistledown-2", "thistledown-2-20261216", 2600, 2600, "yes", "2026-12-15", "2026-12-17", "two")
	f.add("windlestraw-1-dec", "windlestraw", "windlestraw-1", "", 2800, 2000, "no", "2026-12-15", "2026-12-18", "two+three")
	f.add("otterbank-4-dec", "otterbank", "otterbank-4", "otterbank-4-20261217", 2200, 1800, "no", "2026-12-16", "2026-12-18", "three")
	f.add("hazel-hollow-3-dec", "hazel-hollow", "hazel-hollow-3", "hazel-hollow-3-winter", 2500, 2500, "yes", "2026-12-28", "2026-12-30", "one")
	f.add("hazel-hollow-1-jan", "hazel-hollow", "hazel-hollow-1", "", 3000, 2000, "no", "2027-01-04", "2027-01-08", "one")
	files["compost_requests.csv"] = f
}
