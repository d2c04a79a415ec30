package main

import (
	"math/rand/v2"
	"time"
)

// air is how a room is held in a step: °C and % in thousandths, ppm, and °C in the compost, 0
// where none is measured.
type air struct{ celsius, humidity, co2, compost int }

// held is what rooms of Agaricus and of the other species are held at, within the limits of the
// built-in programmes, by the step under way.
var held = map[bool]map[string]air{
	true: {
		"spawning": {24_500, 93_000, 9000, 25_300}, "casing": {24_000, 93_500, 6000, 24_500},
		"pinning": {17_400, 93_000, 720, 18_900}, "cropping": {17_300, 91_500, 1600, 18_400},
	},
	false: {"spawning": {19_000, 96_500, 8000, 0}, "pinning": {15_000, 92_000, 640, 0}, "cropping": {16_500, 91_000, 820, 0}},
}

// Two rooms have a morning worth looking at: in one the fresh air fails and is still off, in the
// other the damper sticks for an hour.
const (
	stale, staleFrom  = "thistledown-1", 9*60 + 40
	dried, driedFrom  = "otterbank-2", 6 * 60
	driedUntil        = 7*60 + 30
	climateEvery, low = 15, 84_000
)

// writeClimate writes climate.csv: the readings of every room with a running crop, from midnight
// of the day until now.
func writeClimate(files map[string]*file, crops []crop, chance *rand.Rand) {
	f := newFile("room_id,kind,time,value")
	for _, c := range crops {
		at, ok := held[c.compostGrams > 0][c.stepNow(files)]
		if !ok {
			continue
		}
		if c.room.programme == "lions-mane-blocks" {
			at.celsius = 20_000
		}
		for minute := 0; ; minute += climateEvery {
			when := time.Date(now.Year(), now.Month(), now.Day(), 0, minute, 0, 0, time.UTC)
			if when.After(now) {
				break
			}
			co2, humidity := at.co2, at.humidity
			if c.room.id == stale && minute >= staleFrom {
				co2 += (minute - staleFrom) * 9
			}
			if c.room.id == dried && minute >= driedFrom && minute < driedUntil {
				humidity = low
			}
			f.add(c.room.id, "air_temperature", when, decimal(at.celsius+chance.IntN(800)-400, 1))
			f.add(c.room.id, "humidity", when, decimal(humidity+chance.IntN(2000)-1000, 0))
			f.add(c.room.id, "carbon_dioxide", when, co2+chance.IntN(60)-30)
			if at.compost > 0 {
				f.add(c.room.id, "compost_temperature", when, decimal(at.compost+chance.IntN(400)-200, 1))
			}
		}
	}
	files["climate.csv"] = f
}

// stepNow is the last recorded step of the crop.
func (c crop) stepNow(files map[string]*file) string {
	last := ""
	for _, row := range files["stages.csv"].rows[1:] {
		if row[0] == c.id && row[2] <= date(now) {
			last = row[1]
		}
	}
	return last
}
