package web_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
)

func TestEveryMeasureOfTheFigures(t *testing.T) {
	t.Parallel()
	card := func(days int32, mase float64) *harvestv1.SourceScore {
		return &harvestv1.SourceScore{
			Cards: []*harvestv1.ScoreCard{{
				Days: days, Figures: 9, BiasGrams: proto.Float64(-1200), MaeGrams: proto.Float64(3400), Mase: proto.Float64(mase), PinballGrams: proto.Float64(900), CrpsGrams: proto.Float64(1800), Coverage: proto.Float64(0.78),
			}},
			Reliability: []*harvestv1.ReliabilityRow{{Probability: 0.9, Figures: 9, Observed: 0.88}},
		}
	}
	point := card(84, 1)
	point.Cards[0].Coverage, point.Cards[0].CrpsGrams, point.Cards[0].PinballGrams, point.Reliability = nil, nil, nil, nil
	fill := func(c *fakecoop.Coop) {
		c.Scores = &harvestv1.GetScoresResponse{
			AsOfDate: "2026-11-24", All: &harvestv1.Score{Used: card(84, 0.42), Programme: card(84, 0.55), Naive: point},
			Parts: []*harvestv1.Score{{FarmId: "alder-brook", RoomId: "alder-brook-1", ProductId: "white-closed-2kg", Grower: card(84, 0.61)}},
		}
	}
	for _, who := range []identity.Identity{fakecoop.Who(identity.Grower, "alder-brook"), coordinator} {
		r := visit(t, who, fill)
		p := r.get("/scored?days=84").ok()
		p.says("#t-scored tr", "In use 9 −1.2 3.4 0.42 0.9 1.8 78").says("#t-scored tr", "The programme alone 9 −1.2 3.4 0.55").says("#t-scored tr", "A break earlier 9 −1.2 3.4 1 – – –")
		p.says("#t-scored tr", "House 1").says("#t-reliability tr", "In use 90 88 9")
		r.get("/scored").ok().says("main", "No figure has been scored yet")
		r.coop.Scores = nil
		r.get("/scored?days=9").ok().says("main", "No figure has been scored yet")
	}
}
