package fakecoop

import (
	"context"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// fillLog gives the lots a recipe, a log and gas readings.
func (c *Coop) fillLog() {
	for _, r := range c.Reports {
		r.Recipe = &compostlotv1.Recipe{RecipeId: "straw-and-litter", Name: "Straw and litter", Version: 3, Parts: []*compostlotv1.RecipePart{
			{Ingredient: &compostlotv1.Ingredient{Name: "wheat straw"}, Mass: &compostlotv1.Mass{Grams: 12_000_000}},
		}}
		r.Turns = []*compostlotv1.LotTurn{{
			LotId: r.GetLot().GetLotId(), Number: 1, Time: at("2026-11-05", 8), Kind: compostlotv1.TurnKind_TURN_KIND_WETTING, Water: &compostlotv1.Mass{Grams: 4_000_000}, RecordedBy: "Hugh", Note: "stack was dry",
		}}
		r.Decisions = []*compostlotv1.LotDecision{{Kind: compostlotv1.DecisionKind_DECISION_KIND_HOLD, DecidedBy: "Hugh", DecidedAt: at("2026-11-06", 8), Reason: "probe fell out"}}
		r.Probes = []*compostlotv1.Probe{{LotId: r.GetLot().GetLotId(), ProbeId: "p01", Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, OffsetThousandths: -100, CalibratedBy: "Hugh", Etag: "v1"}}
		r.Gas = []*compostlotv1.GasFinding{gasFinding()}
		r.Deference = "Local codes decide."
	}
}

func gasFinding() *compostlotv1.GasFinding {
	return &compostlotv1.GasFinding{
		ProbeId: "g01", Gas: compostlotv1.ReadingKind_READING_KIND_AMMONIA, ValueThousandths: 40_000, Time: at(Today, 9), Advice: compostlotv1.GasAdvice_GAS_ADVICE_LEAVE,
		Explanation: "40 ppm passes the short-term limit of 35 ppm.",
	}
}

// GetLotChart is two probes over two days, with a gap in the second, and a band.
func (l *compostlot) GetLotChart(_ context.Context, req *compostlotv1.GetLotChartRequest) (*compostlotv1.LotChart, error) {
	return read(l.c, "GetLotChart", func() (*compostlotv1.LotChart, error) {
		if l.c.Chart != nil {
			return l.c.Chart, nil
		}
		chart := &compostlotv1.LotChart{BucketSeconds: 3600}
		begin := at("2026-11-14", 8).AsTime().Unix()
		for i, id := range []string{"p01", "p02"} {
			s := &compostlotv1.ChartSeries{ProbeId: id, Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE}
			for hour := range int64(48) {
				if i == 1 && hour > 20 && hour < 30 {
					continue
				}
				s.Seconds = append(s.Seconds, begin+hour*3600)
				s.Least, s.Mean, s.Most = append(s.Least, 44_000+hour*300), append(s.Mean, 45_000+hour*300), append(s.Most, 46_000+hour*300)
			}
			chart.Series = append(chart.Series, s)
		}
		low, high := int64(58_000), int64(62_000)
		chart.Limits = []*compostlotv1.ChartLimit{{CriterionId: "pasteurisation-compost", Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, LowThousandths: &low, HighThousandths: &high, Requirement: "Every compost probe at 58 to 62 °C for 4 h"}}
		chart.Marks = []*compostlotv1.MarkedPhase{{Mark: compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING, Time: at("2026-11-15", 8)}}
		return chart, nil
	})
}

func (l *compostlot) RecordTurn(ctx context.Context, req *compostlotv1.RecordTurnRequest) (*compostlotv1.LotTurn, error) {
	return once(l.c, "RecordTurn", req, func() (*compostlotv1.LotTurn, error) {
		r, err := l.report(req.GetTurn().GetLotId())
		if err != nil {
			return nil, err
		}
		if req.GetTurn().GetWater().GetAmount() > 100_000 {
			return nil, fault.InvalidField("turn.water.amount", "is more than the heap weighs")
		}
		turn := proto.CloneOf(req.GetTurn())
		turn.RecordedBy, turn.Number = identity.Must(ctx).Name, int32(len(r.GetTurns())+1)
		if w := turn.GetWater(); w != nil {
			w.Grams = int64(w.GetAmount() * 1000)
		}
		r.Turns = append(r.Turns, turn)
		return turn, nil
	})
}

func (l *compostlot) GetEntryChecklist(_ context.Context, req *compostlotv1.GetEntryChecklistRequest) (*compostlotv1.EntryChecklist, error) {
	return read(l.c, "GetEntryChecklist", func() (*compostlotv1.EntryChecklist, error) {
		res := &compostlotv1.EntryChecklist{
			Items: []string{"A second person stands outside.", "The air was measured at head and foot."}, Deference: "Local codes and licensed practice decide.",
			Limits: []*compostlotv1.ExposureLimit{
				{Gas: compostlotv1.ReadingKind_READING_KIND_AMMONIA, Name: "Short-term limit", Thousandths: 35_000, Seconds: 900, Source: "from memory"},
				{Gas: compostlotv1.ReadingKind_READING_KIND_OXYGEN, Name: "Least oxygen", Thousandths: 19_500, Least: true, Source: "from memory"},
			},
		}
		if req.GetPlace() == compostlotv1.EntryPlace_ENTRY_PLACE_TUNNEL {
			res.Items = append(res.Items, "The fan is locked off.")
		}
		if req.GetLotId() != "" {
			res.Gas = []*compostlotv1.GasFinding{gasFinding()}
		}
		return res, nil
	})
}

func (l *compostlot) PublishSlotSeries(_ context.Context, req *compostlotv1.PublishSlotSeriesRequest) (*compostlotv1.PublishSlotsResponse, error) {
	return once(l.c, "PublishSlotSeries", req, func() (*compostlotv1.PublishSlotsResponse, error) {
		if req.GetThroughDate() < req.GetFirst().GetReadyDate() {
			return nil, fault.InvalidField("through_date", "lies before the first slot")
		}
		l.c.Series = append(l.c.Series, req)
		return &compostlotv1.PublishSlotsResponse{}, nil
	})
}

func (l *compostlot) WithdrawSlot(ctx context.Context, req *compostlotv1.WithdrawSlotRequest) (*compostlotv1.WithdrawSlotResponse, error) {
	return once(l.c, "WithdrawSlot", req, func() (*compostlotv1.WithdrawSlotResponse, error) {
		for _, s := range l.c.Slots {
			if s.GetSlotId() != req.GetSlotId() {
				continue
			}
			s.State, s.WithdrawalNotice, s.WithdrawnBy = compostlotv1.SlotState_SLOT_STATE_WITHDRAWN, req.GetNotice(), identity.Must(ctx).Name
			return &compostlotv1.WithdrawSlotResponse{Slot: proto.CloneOf(s), Affected: []*compostlotv1.AffectedRequest{{
				CompostRequestId: "alder-brook-3-20261207", FarmId: "alder-brook", LostKg: 22_000,
				Proposal: &compostlotv1.Share{WantedKg: 30_000, GrantedKg: 12_000, Slots: []*compostlotv1.ShareSlot{{SlotId: "quarry-end-20261130", GrantedKg: 12_000}}, Explanation: "One slot is left in the window."},
			}}}, nil
		}
		return nil, notFound("slot", req.GetSlotId())
	})
}
