package server

import (
	"crypto/sha256"
	"slices"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// FuzzStream feeds the reader of the stream with whatever bytes decode to a message that the
// contract lets through. What it takes becomes columns by ascending second; the same stream
// again adds nothing; what it refuses names a field.
func FuzzStream(f *testing.F) {
	seed := func(readings ...*compostlotv1.Reading) {
		b, err := proto.Marshal(&compostlotv1.RecordReadingsRequest{RequestId: "0190163d-8694-739b-aea5-966c26f8ad91", Readings: readings})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	at := func(unix int64, value int64) *compostlotv1.Reading {
		return &compostlotv1.Reading{LotId: "quarry-7", ProbeId: "p1", Kind: 1, Time: &timestamppb.Timestamp{Seconds: unix}, ValueThousandths: value}
	}
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC).Unix()
	seed()
	seed(at(day, 1), at(day+86_399, 2), at(day+86_400, 3), at(day-1, 4))
	seed(at(day+60, 7), at(day, 5), at(day+60, 7))
	seed(at(day, 7), at(day, 8))
	seed(at(0, 1_000_000_000), at(1, -1_000_000_000), at(-1, 0), at(1<<40, 0))
	f.Fuzz(func(t *testing.T, data []byte) {
		m := &compostlotv1.RecordReadingsRequest{}
		if proto.Unmarshal(data, m) != nil || protovalidate.Validate(m) != nil {
			return
		}
		g := gathering{days: map[dayKey]*column{}, digest: sha256.New(), most: 1000}
		if g.take(m) != nil {
			return
		}
		kept := 0
		for k, c := range g.days {
			merged, added, err := c.merge(k, k.row())
			if err != nil { // the stream contradicts itself
				return
			}
			kept += added
			if !slices.IsSorted(merged.Seconds) || len(slices.Compact(slices.Clone(merged.Seconds))) != len(merged.Seconds) ||
				len(merged.Seconds) != added || len(merged.Thousandths) != added || merged.Seconds[0] < 0 || merged.Seconds[added-1] >= secondsPerDay {
				t.Fatalf("day %v became %v of %v", k, merged.Seconds, c.second)
			}
			again, more, err := c.merge(k, merged)
			if err != nil || more != 0 || !slices.Equal(again.Seconds, merged.Seconds) || !slices.Equal(again.Thousandths, merged.Thousandths) {
				t.Fatalf("sent again it adds %d (%v)", more, err)
			}
		}
		if kept > g.count || g.count != len(m.GetReadings()) {
			t.Fatalf("%d kept of %d, %d sent", kept, g.count, len(m.GetReadings()))
		}
	})
}
