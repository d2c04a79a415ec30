package web

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// climateColumns are those of a file of readings of rooms, as the co-op's own files have them.
var climateColumns = []string{"room_id", "kind", "time", "value"}

// climatePerCall is how many readings one call takes.
const climatePerCall = 5000

var climateWords = map[string]harvestv1.ClimateKind{
	"air_temperature": harvestv1.ClimateKind_CLIMATE_KIND_AIR_TENTHS_C, "humidity": harvestv1.ClimateKind_CLIMATE_KIND_HUMIDITY_PERCENT,
	"carbon_dioxide": harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM, "compost_temperature": harvestv1.ClimateKind_CLIMATE_KIND_COMPOST_TENTHS_C,
}

// climateReadings are the readings of a file, oldest first, since each is checked after the one
// before it; rows are put in the same order. Its errors are *rowError.
func climateReadings(rows []csvRow) ([]*harvestv1.ClimateReading, error) {
	at := make(map[int]time.Time, len(rows))
	for _, row := range rows {
		t, err := time.Parse(time.RFC3339, row.values["time"])
		if err != nil {
			return nil, row.wrong("time")
		}
		at[row.line] = t
	}
	slices.SortStableFunc(rows, func(a, b csvRow) int {
		return cmp.Or(at[a.line].Compare(at[b.line]), cmp.Compare(a.line, b.line))
	})
	readings := make([]*harvestv1.ClimateReading, len(rows))
	for i, row := range rows {
		kind, ok := climateWords[row.values["kind"]]
		if !ok {
			return nil, row.wrong("kind")
		}
		value, ok := signedThousandths(row.values["value"])
		if !ok || value > 1_000_000_000 || value < -1_000_000_000 {
			return nil, row.wrong("value")
		}
		if strings.TrimSpace(row.values["room_id"]) == "" {
			return nil, row.wrong("room_id")
		}
		readings[i] = &harvestv1.ClimateReading{RoomId: row.values["room_id"], Kind: kind, Time: timestamppb.New(at[row.line]), Value: nearest(value, climateKinds[kind].each)}
	}
	return readings, nil
}

// nearest is a value in thousandths in units of so many, halves away from zero.
func nearest(value, each int64) int32 {
	half := each / 2
	if value < 0 {
		half = -half
	}
	return int32((value + half) / each)
}
