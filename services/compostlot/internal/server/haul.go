package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

var shareRules = map[string]compostlotv1.ShareRule{
	store.RuleSatisfiedShare: compostlotv1.ShareRule_SHARE_RULE_SATISFIED_SHARE,
	store.RuleEqualAwards:    compostlotv1.ShareRule_SHARE_RULE_EQUAL_AWARDS,
}

var shareWeights = map[string]compostlotv1.ShareWeights{
	store.WeightsShares: compostlotv1.ShareWeights_SHARE_WEIGHTS_MEMBER_SHARES,
	store.WeightsEqual:  compostlotv1.ShareWeights_SHARE_WEIGHTS_EQUAL,
}

// wordOf is the word whose value a map holds.
func wordOf[V comparable](words map[string]V, value V) string {
	for word, v := range words {
		if v == value {
			return word
		}
	}
	return ""
}

// GetShareSettings implements CompostLotService.
func (s *Server) GetShareSettings(ctx context.Context, _ *compostlotv1.GetShareSettingsRequest) (*compostlotv1.ShareSettings, error) {
	var out *compostlotv1.ShareSettings
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		row, err := store.FindShareSettings(ctx, tx, false)
		out = settingsMessage(row)
		return err
	})
	return out, err
}

// SaveShareSettings implements CompostLotService.
func (s *Server) SaveShareSettings(ctx context.Context, req *compostlotv1.SaveShareSettingsRequest) (*compostlotv1.ShareSettings, error) {
	return once(ctx, s, req, &compostlotv1.ShareSettings{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.ShareSettings, error) {
		m := req.GetSettings()
		old, err := store.FindShareSettings(ctx, tx, true)
		if err != nil {
			return nil, err
		}
		row := store.ShareSettings{
			Rule: wordOf(shareRules, m.GetRule()), Weights: wordOf(shareWeights, m.GetWeights()),
			HaulMinorPerTonneKm: m.GetHaulMinorPerTonneKm(), Change: old.Next(actor(ctx), s.now()),
		}
		known := settingsMessage(old).GetEtag()
		switch {
		case m.GetEtag() == "" && old.Version > 0 && row.Rule == old.Rule && row.Weights == old.Weights && row.HaulMinorPerTonneKm == old.HaulMinorPerTonneKm:
			return settingsMessage(old), nil
		case m.GetEtag() != known && old.Version == 0:
			return nil, fault.InvalidField("settings.etag", "the settings were never saved: leave the etag empty")
		case m.GetEtag() != known:
			return nil, changed("settings.", "the share settings", old.Change)
		}
		return settingsMessage(row), store.SaveShareSettings(ctx, tx, row)
	})
}

func settingsMessage(s store.ShareSettings) *compostlotv1.ShareSettings {
	out := &compostlotv1.ShareSettings{
		Rule: shareRules[s.Rule], Weights: shareWeights[s.Weights], HaulMinorPerTonneKm: s.HaulMinorPerTonneKm,
		ChangedBy: s.By, ChangedAt: optional(&s.At),
	}
	if s.Version > 0 {
		out.Etag = saving.Etag(s.Version)
	}
	return out
}

// haul is the cost of a tonne by yard and farm.
type haul map[[2]string]int64

func haulTable(ctx context.Context, tx pgx.Tx, settings store.ShareSettings) (haul, error) {
	rows, err := store.HaulCosts(ctx, tx)
	out := haul{}
	for _, c := range rows {
		out[[2]string{c.YardID, c.FarmID}] = costOf(c, settings)
	}
	return out, err
}

// costOf is the cost of a tonne in minor units: as stated, or distance by rate.
func costOf(c store.HaulCost, settings store.ShareSettings) int64 {
	if c.MinorPerTonne != nil {
		return *c.MinorPerTonne
	}
	return int64(*c.DistanceKm) * settings.HaulMinorPerTonneKm
}

// to is the cost of a tonne to a farm from each slot, by slot id.
func (h haul) to(farmID string, slots []store.Slot) map[string]int64 {
	var out map[string]int64
	for _, slot := range slots {
		if cost, ok := h[[2]string{slot.YardID, farmID}]; ok {
			if out == nil {
				out = make(map[string]int64, len(slots))
			}
			out[slot.ID] = cost
		}
	}
	return out
}

// SaveHaulCosts implements CompostLotService.
func (s *Server) SaveHaulCosts(ctx context.Context, req *compostlotv1.SaveHaulCostsRequest) (*compostlotv1.SaveHaulCostsResponse, error) {
	at, costs := list("haul_costs"), req.GetHaulCosts()
	pair := func(i int) string { return costs[i].GetYardId() + " to " + costs[i].GetFarmId() }
	if err := noDuplicates(len(costs), pair, at, "farm_id"); err != nil {
		return nil, err
	}
	farmIDs := ids(costs, (*compostlotv1.HaulCost).GetFarmId)
	if err := s.o.Members.Learn(ctx, members.Wanted{Farms: farmIDs}); err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.SaveHaulCostsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.SaveHaulCostsResponse, error) {
		farms, err := store.Farms(ctx, tx, farmIDs)
		if err != nil {
			return nil, err
		}
		yards, err := store.Yards(ctx, tx, ids(costs, (*compostlotv1.HaulCost).GetYardId))
		if err != nil {
			return nil, err
		}
		settings, err := store.FindShareSettings(ctx, tx, false)
		if err != nil {
			return nil, err
		}
		rows := make([]store.HaulCost, len(costs))
		for i, m := range costs {
			if _, ok := yards[m.GetYardId()]; !ok {
				return nil, fault.InvalidField(at(i)+"yard_id", "there is no yard %q: save it first, or correct the id", m.GetYardId())
			}
			if _, ok := farms[m.GetFarmId()]; !ok {
				return nil, fault.InvalidField(at(i)+"farm_id", "there is no farm %q: save it in scheduling first, or correct the id", m.GetFarmId())
			}
			rows[i] = store.HaulCost{YardID: m.GetYardId(), FarmID: m.GetFarmId()}
			switch by := m.GetBy().(type) {
			case *compostlotv1.HaulCost_MinorPerTonne:
				rows[i].MinorPerTonne = &by.MinorPerTonne
			case *compostlotv1.HaulCost_DistanceKm:
				rows[i].DistanceKm = &by.DistanceKm
			default:
				return nil, fmt.Errorf("haul cost %d: neither cost nor distance", i)
			}
		}
		changes, err := s.haulChanges(ctx, tx, costs, rows, at)
		if err != nil {
			return nil, err
		}
		resp := &compostlotv1.SaveHaulCostsResponse{HaulCosts: convert(rows, func(c store.HaulCost) *compostlotv1.HaulCost { return haulMessage(c, settings) })}
		return resp, store.SaveHaulCosts(ctx, tx, changes)
	})
}

// haulChanges are those of the rows that are new or that change what is there, whose newest
// version the caller must have read; rows that change nothing stay as they are. Every row gets
// the version that it then has.
func (s *Server) haulChanges(ctx context.Context, tx pgx.Tx, costs []*compostlotv1.HaulCost, rows []store.HaulCost, at place) ([]store.HaulCost, error) {
	known, err := store.LockHaulCosts(ctx, tx, rows)
	if err != nil {
		return nil, err
	}
	var changes []store.HaulCost
	for i := range rows {
		old, ok := known[[2]string{rows[i].YardID, rows[i].FarmID}]
		sent := costs[i].GetEtag()
		switch {
		case !ok && sent != "":
			return nil, fault.InvalidField(at(i)+"etag", "the haul from %q to %q was never saved: leave the etag empty", rows[i].YardID, rows[i].FarmID)
		case ok && sent != "" && sent != saving.Etag(old.Version):
			return nil, changed(at(i), "the haul from "+old.YardID+" to "+old.FarmID, old.Change)
		case ok && sameHaul(old, rows[i]):
			rows[i].Change = old.Change
			continue
		case ok && sent == "":
			return nil, changed(at(i), "the haul from "+old.YardID+" to "+old.FarmID, old.Change)
		}
		rows[i].Change = old.Next(actor(ctx), s.now())
		changes = append(changes, rows[i])
	}
	return changes, nil
}

func sameHaul(a, b store.HaulCost) bool {
	same := func(a, b *int64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }
	return same(a.MinorPerTonne, b.MinorPerTonne) && same(kilometres(a), kilometres(b))
}

func kilometres(c store.HaulCost) *int64 {
	if c.DistanceKm == nil {
		return nil
	}
	return new(int64(*c.DistanceKm))
}

// ListHaulCosts implements CompostLotService.
func (s *Server) ListHaulCosts(ctx context.Context, _ *compostlotv1.ListHaulCostsRequest) (*compostlotv1.ListHaulCostsResponse, error) {
	resp := &compostlotv1.ListHaulCostsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		settings, err := store.FindShareSettings(ctx, tx, false)
		if err != nil {
			return err
		}
		rows, err := store.HaulCosts(ctx, tx)
		resp.HaulCosts = convert(rows, func(c store.HaulCost) *compostlotv1.HaulCost { return haulMessage(c, settings) })
		return err
	})
}

func haulMessage(c store.HaulCost, settings store.ShareSettings) *compostlotv1.HaulCost {
	out := &compostlotv1.HaulCost{YardId: c.YardID, FarmId: c.FarmID, CostMinorPerTonne: costOf(c, settings), Etag: saving.Etag(c.Version)}
	if c.MinorPerTonne != nil {
		out.By = &compostlotv1.HaulCost_MinorPerTonne{MinorPerTonne: *c.MinorPerTonne}
	} else {
		out.By = &compostlotv1.HaulCost_DistanceKm{DistanceKm: *c.DistanceKm}
	}
	return out
}
