package server

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// store merges the stream into what is stored.
func (g *gathering) store(ctx context.Context, tx pgx.Tx) (*compostlotv1.RecordReadingsResponse, error) {
	keys := slices.SortedFunc(maps.Keys(g.days), dayKey.compare)
	// An error about a day's lot names the day's first reading.
	at := func(i int) string { return list("readings")(int(slices.Min(g.days[keys[i]].index))) }
	if _, err := lockLots(ctx, tx, keys, at); err != nil {
		return nil, err
	}
	stored, err := store.DaysOf(ctx, tx, convert(keys, dayKey.row))
	if err != nil {
		return nil, err
	}
	known := make(map[dayKey]store.Day, len(stored))
	for _, d := range stored {
		known[dayKey{Probe: d.Probe, day: d.Day.Unix() / secondsPerDay}] = d
	}
	answer := &compostlotv1.RecordReadingsResponse{}
	var changed []store.Day
	for _, k := range keys {
		merged, added, err := g.days[k].merge(k, known[k])
		if err != nil {
			return nil, err
		}
		answer.Stored += int64(added)
		if added > 0 {
			changed = append(changed, merged)
		}
	}
	answer.AlreadyKnown = int64(g.count) - answer.Stored
	return answer, store.SaveDays(ctx, tx, changed)
}

func (k dayKey) compare(o dayKey) int {
	return cmp.Or(strings.Compare(k.LotID, o.LotID), strings.Compare(k.ProbeID, o.ProbeID), cmp.Compare(k.Kind, o.Kind), cmp.Compare(k.day, o.day))
}

// row is the day without readings.
func (k dayKey) row() store.Day {
	return store.Day{Probe: k.Probe, Day: time.Unix(k.day*secondsPerDay, 0).UTC()}
}

// merge adds the column to what is known of its day. A reading that is known with another
// value, from before or from the same stream, is refused.
func (c *column) merge(k dayKey, known store.Day) (merged store.Day, added int, err error) {
	order := make([]int, len(c.second))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.second[a], c.second[b]) })
	merged = k.row()
	n := len(known.Seconds) + len(order)
	merged.Seconds, merged.Thousandths = make([]int32, 0, n), make([]int32, 0, n)
	next := 0
	for _, i := range order {
		for next < len(known.Seconds) && known.Seconds[next] <= c.second[i] {
			merged.Seconds, merged.Thousandths = append(merged.Seconds, known.Seconds[next]), append(merged.Thousandths, known.Thousandths[next])
			next++
		}
		last := len(merged.Seconds) - 1
		if last < 0 || merged.Seconds[last] != c.second[i] {
			merged.Seconds, merged.Thousandths = append(merged.Seconds, c.second[i]), append(merged.Thousandths, c.value[i])
			added++
			continue
		}
		if merged.Thousandths[last] != c.value[i] {
			return merged, 0, c.differs(k, i, merged.Thousandths[last])
		}
	}
	merged.Seconds, merged.Thousandths = append(merged.Seconds, known.Seconds[next:]...), append(merged.Thousandths, known.Thousandths[next:]...)
	return merged, added, nil
}

func (c *column) differs(k dayKey, i int, known int32) error {
	q := quantities[compostlotv1.ReadingKind(k.Kind)]
	at := list("readings")(int(c.index[i])) + "value_thousandths"
	text := "probe " + k.ProbeID + " of lot " + k.LotID + " read " + q.Format(int64(known)) + " (" + q.String() + ") at " +
		stamp(time.Unix(k.day*secondsPerDay+int64(c.second[i]), 0)) + ", and now it is to have read " + q.Format(int64(c.value[i]))
	return fault.New(fault.Exists, ReasonOtherValue, "%s: raw readings are not changed; enter a calibration where the probe is off", text).
		WithField(at, "%s", text)
}

// quantities are the kinds of readings in the terms of the release rules.
var quantities = map[compostlotv1.ReadingKind]release.Quantity{
	compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE: release.CompostTemperature,
	compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE:     release.AirTemperature,
	compostlotv1.ReadingKind_READING_KIND_AMMONIA:             release.Ammonia,
	compostlotv1.ReadingKind_READING_KIND_OXYGEN:              release.Oxygen,
	compostlotv1.ReadingKind_READING_KIND_MOISTURE:            release.Moisture,
	compostlotv1.ReadingKind_READING_KIND_NITROGEN:            release.Nitrogen,
	compostlotv1.ReadingKind_READING_KIND_PH:                  release.Acidity,
	compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE:      release.CarbonDioxide,
	compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE:   release.HydrogenSulphide,
}
