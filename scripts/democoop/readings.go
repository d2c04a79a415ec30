package main

import (
	"math/rand/v2"
	"strconv"
	"time"
)

// writePhaseOne writes what a yard notes of a bunker lot: the samples at make-up and the
// heat of the core each morning.
func writePhaseOne(l lot, marks, readings *file, chance *rand.Rand) {
	marks.add(l.id, "filled", l.filled.Add(9*hour))
	sample := l.filled.Add(10 * hour)
	readings.add(l.id, "lab-1", "moisture", sample, decimal(72_400+chance.IntN(1200), 1))
	readings.add(l.id, "lab-2", "nitrogen", sample, decimal(1_540+chance.IntN(120), 2))
	for d := range 10 {
		at := after(l.filled, d).Add(8 * hour)
		heat := 71_000 + chance.IntN(6000)
		if d == 0 {
			heat = 48_000
		}
		readings.add(l.id, "core-1", "compost_temperature", at, decimal(heat, 1))
	}
}

// writePhaseTwo writes the log of a tunnel: two probes in the compost and one in the air
// every ten minutes, ammonia twice a day and after cooling, samples before spawning.
func writePhaseTwo(l lot, marks, readings *file, chance *rand.Rand) {
	instant := func(hours float64) time.Time { return l.filled.Add(time.Duration(hours * float64(hour))) }
	mark := func(name string, hours float64) {
		if at := instant(hours); !at.After(now) {
			marks.add(l.id, name, at)
		}
	}
	mark("filled", 0)
	mark("pasteurising", pasteuriseAt)
	mark("conditioning", conditionAt)
	mark("cooling", coolAt)
	mark("cooled", cooledAt)

	add := func(probe, kind string, at time.Time, milli, decimals int) {
		if !at.After(now) {
			readings.add(l.id, probe, kind, at, decimal(milli, decimals))
		}
	}
	lostFrom := instant(conditionAt + 30)
	for minutes := 0; minutes <= (cooledAt+3)*60; minutes += 10 {
		hours := float64(minutes) / 60
		at := instant(hours)
		heat := tunnelHeat(hours)
		add("p1", "compost_temperature", at, heat+chance.IntN(500)-250, 1)
		if l.lost == 0 || at.Before(lostFrom) || at.After(lostFrom.Add(l.lost)) {
			add("p2", "compost_temperature", at, heat+chance.IntN(500)-100, 1)
		}
		if hours <= conditionAt+2 {
			add("a1", "air_temperature", at, heat-300+chance.IntN(400), 1)
		}
	}
	for h, ppm := conditionAt, 320_000; h < cooledAt; h, ppm = h+12, ppm*6/10 {
		add("g1", "ammonia", instant(float64(h)), ppm+chance.IntN(4000), 1)
	}
	for i := range 3 {
		add("g1", "ammonia", instant(cooledAt+0.5+float64(i)), 6_800-900*i+chance.IntN(500), 1)
	}
	sample := instant(cooledAt + 1)
	add("lab-1", "moisture", sample, 69_500+chance.IntN(2500), 1)
	add("lab-2", "nitrogen", sample, 2_150+chance.IntN(120), 2)
	add("lab-3", "ph", sample, 7_400+chance.IntN(250), 2)
}

// tunnelHeat is the course of the compost's heat in thousandths of a degree Celsius: up,
// pasteurised above 60 °C for four hours, conditioned at 46 to 49 °C, cooled to 25 °C.
func tunnelHeat(hours float64) int {
	between := func(from, to, start, end float64) int {
		return int(1000 * (from + (to-from)*(hours-start)/(end-start)))
	}
	switch {
	case hours < pasteuriseAt:
		return between(41, 58, 0, pasteuriseAt)
	case hours < pasteuriseAt+1:
		return between(58, 61, pasteuriseAt, pasteuriseAt+1)
	case hours < conditionAt:
		return 61_000
	case hours < conditionAt+4:
		return between(61, 48.5, conditionAt, conditionAt+4)
	case hours < coolAt:
		return between(48.5, 46.5, conditionAt+4, coolAt)
	case hours < cooledAt:
		return between(46.5, 25.2, coolAt, cooledAt)
	default:
		return 25_200
	}
}

// decimal writes thousandths with so many decimals, half of the last one dropped.
func decimal(milli, decimals int) string {
	return strconv.FormatFloat(float64(milli)/1000, 'f', decimals, 64)
}
