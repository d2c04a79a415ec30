package importer

import (
	"cmp"
	"context"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	"breakshare.example/deploy/internal/coopfiles"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// climate sends the readings of rooms, oldest first, since each is checked after the one before
// it. The service says how many it did not have.
func (r *run) climate(ctx context.Context) (Outcome, error) {
	rows := slices.SortedStableFunc(slices.Values(r.files.Climate), func(a, b coopfiles.ClimateReading) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.RoomID, b.RoomID), cmp.Compare(a.Kind, b.Kind))
	})
	var o Outcome
	for part := range slices.Chunk(rows, perMessage) {
		from := source{file: "climate.csv"}
		req := &harvestv1.RecordClimateRequest{}
		for _, m := range part {
			from.lines = append(from.lines, []int{m.Line})
			req.Readings = append(req.Readings, &harvestv1.ClimateReading{RoomId: m.RoomID, Kind: climateKinds[m.Kind], Time: timestamppb.New(m.Time), Value: climateValue(m)})
		}
		err := r.send(ctx, from, req, func(ctx context.Context) error {
			answer, err := r.Harvest.RecordClimate(ctx, req)
			if err == nil {
				o.New, o.Same = o.New+int(answer.GetTaken()), o.Same+len(part)-int(answer.GetTaken())
			}
			return err
		})
		if err != nil {
			return o, err
		}
	}
	return o, nil
}

// climateValue is a reading in the unit of its kind, halves away from zero.
func climateValue(m coopfiles.ClimateReading) int32 {
	unit := int64(1000)
	if m.Kind == "air_temperature" || m.Kind == "compost_temperature" {
		unit = 100
	}
	half := unit / 2
	if m.ValueThousandths < 0 {
		half = -half
	}
	return int32((m.ValueThousandths + half) / unit)
}
