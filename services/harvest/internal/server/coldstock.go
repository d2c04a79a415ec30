package server

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/shelflife"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// SaveColdStore creates a cold store or changes its name.
func (s *Server) SaveColdStore(ctx context.Context, req *harvestv1.SaveColdStoreRequest) (*harvestv1.ColdStore, error) {
	in := req.GetStore()
	if err := checkFarm(ctx, "cold store "+in.GetStoreId(), in.GetFarmId()); err != nil {
		return nil, err
	}
	return keep(ctx, s, req.GetRequestId(), req, &harvestv1.ColdStore{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.ColdStore, error) {
			all, err := store.ColdStores(ctx, tx, "")
			if err != nil {
				return nil, err
			}
			for _, c := range all {
				if c.ID == in.GetStoreId() && c.FarmID != in.GetFarmId() {
					return nil, fault.New(fault.Exists, "STORE_OF_ANOTHER_FARM", "cold store %s is farm %s's: choose another id", c.ID, c.FarmID)
				}
			}
			return in, store.SaveColdStore(ctx, tx, store.ColdStore{ID: in.GetStoreId(), FarmID: in.GetFarmId(), Name: in.GetName()})
		})
}

// RecordStoreReadings adds readings of a store and says how it stands.
func (s *Server) RecordStoreReadings(ctx context.Context, req *harvestv1.RecordStoreReadingsRequest) (*harvestv1.RecordStoreReadingsResponse, error) {
	list := make([]store.StoreReading, len(req.GetReadings()))
	for i, r := range req.GetReadings() {
		if r.GetTime().AsTime().After(s.clock.Now().Add(clockSlack)) {
			return nil, fault.InvalidField(fmt.Sprintf("readings[%d].time", i), "%s lies ahead: set the clock of the instrument", r.GetTime().AsTime().Format(time.RFC3339))
		}
		list[i] = store.StoreReading{StoreID: req.GetStoreId(), Time: r.GetTime().AsTime(), TenthsC: int(r.GetAirTenthsC())}
	}
	return keep(ctx, s, req.GetRequestId(), req, &harvestv1.RecordStoreReadingsResponse{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.RecordStoreReadingsResponse, error) {
			all, err := store.ColdStores(ctx, tx, "")
			if err != nil {
				return nil, err
			}
			i := slices.IndexFunc(all, func(c store.ColdStore) bool { return c.ID == req.GetStoreId() })
			if i < 0 {
				return nil, fault.New(fault.NotFound, "NO_COLD_STORE", "the co-op has no cold store %s: save it first", req.GetStoreId())
			}
			if err := checkFarm(ctx, "cold store "+all[i].ID, all[i].FarmID); err != nil {
				return nil, err
			}
			if err := store.AddStoreReadings(ctx, tx, list); err != nil {
				return nil, err
			}
			states, err := s.storeStates(ctx, tx, all[i:i+1], nil)
			if err != nil {
				return nil, err
			}
			return &harvestv1.RecordStoreReadingsResponse{State: states[0]}, nil
		})
}

// clockSlack is by how much an instrument's clock may run ahead.
const clockSlack = 5 * time.Minute

// keptFor is how far back readings count: longer than any lot is in store.
const keptFor = 22 * 24 * time.Hour

// readings are those of each store that still count.
func (s *Server) readings(ctx context.Context, tx pgx.Tx) (map[string][]store.StoreReading, error) {
	return store.StoreReadings(ctx, tx, s.clock.Now().Add(-keptFor))
}

// storeStates says how each store stands. stock is what is in them.
func (s *Server) storeStates(ctx context.Context, tx pgx.Tx, stores []store.ColdStore, stock []store.Stock) ([]*harvestv1.StoreState, error) {
	of, err := s.readings(ctx, tx)
	if err != nil {
		return nil, err
	}
	grams := map[string]int64{}
	for _, l := range stock {
		grams[l.StoreID] += l.Left() - l.Dispatched
	}
	out := make([]*harvestv1.StoreState, len(stores))
	for i, c := range stores {
		out[i] = stateOf(c, of[c.ID])
		if last := out[i].GetLast(); last != nil {
			out[i].HeatWatts = int64(math.Ceil(shelflife.StoreHeatWatts(grams[c.ID], int(last.GetAirTenthsC()))))
		}
	}
	return out, nil
}

var conditions = map[shelflife.StoreState]harvestv1.StoreCondition{
	shelflife.StoreBest:   harvestv1.StoreCondition_STORE_CONDITION_BEST,
	shelflife.StoreUsable: harvestv1.StoreCondition_STORE_CONDITION_USABLE,
	shelflife.StoreWarm:   harvestv1.StoreCondition_STORE_CONDITION_WARM,
	shelflife.StoreFrozen: harvestv1.StoreCondition_STORE_CONDITION_FREEZING,
}

// stateOf judges a store by its newest reading.
func stateOf(c store.ColdStore, readings []store.StoreReading) *harvestv1.StoreState {
	m := &harvestv1.StoreState{Store: &harvestv1.ColdStore{StoreId: c.ID, FarmId: c.FarmID, Name: c.Name}}
	if len(readings) == 0 {
		return m
	}
	last := readings[len(readings)-1]
	state := shelflife.StoreAt(last.TenthsC)
	m.Last = &harvestv1.StoreReading{Time: timestamppb.New(last.Time), AirTenthsC: int32(last.TenthsC)}
	m.Condition = conditions[state]
	if state != shelflife.StoreWarm && state != shelflife.StoreFrozen {
		return m
	}
	since := last.Time
	for i := len(readings) - 1; i >= 0; i-- {
		if s := shelflife.StoreAt(readings[i].TenthsC); s != shelflife.StoreWarm && s != shelflife.StoreFrozen {
			break
		}
		since = readings[i].Time
	}
	m.OutOfRangeSince = timestamppb.New(since)
	do := "cool it, or bring the mushrooms elsewhere, and look at each lot before it is sold"
	if state == shelflife.StoreFrozen {
		do = "warm it above 0 °C and look for frozen mushrooms, which do not recover"
	}
	m.Warning = fmt.Sprintf("%s is %s at %s °C: %s. Whether a lot may be sold, people and the local food authority decide.", c.Name, state, tenths(last.TenthsC), do)
	return m
}

// tenths writes tenths of a degree.
func tenths(t int) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(t)/10), ".0")
}

// GetColdStock lists what is left of each lot, oldest first.
func (s *Server) GetColdStock(ctx context.Context, req *harvestv1.GetColdStockRequest) (*harvestv1.GetColdStockResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.GetColdStockResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		stock, err := store.StockOf(ctx, tx, cal.today(), farm, req.GetStoreId())
		if err != nil {
			return err
		}
		readings, err := s.readings(ctx, tx)
		if err != nil {
			return err
		}
		stores, err := store.ColdStores(ctx, tx, farm)
		if err != nil {
			return err
		}
		stores = slices.DeleteFunc(stores, func(c store.ColdStore) bool { return req.GetStoreId() != "" && c.ID != req.GetStoreId() })
		if resp.Stores, err = s.storeStates(ctx, tx, stores, stock); err != nil {
			return err
		}
		resp.Lots, err = coldLots(stock, readings, cal)
		return err
	})
	return resp, err
}

// shelfNames are what the tables of keeping call the species.
func shelfName(species string) string {
	switch s := strings.ToLower(species); {
	case strings.HasPrefix(s, "white mushroom"), strings.HasPrefix(s, "brown mushroom"):
		return shelflife.Agaricus
	case strings.HasPrefix(s, "oyster"):
		return shelflife.Oyster
	}
	return ""
}

func coldLots(stock []store.Stock, readings map[string][]store.StoreReading, cal calendar) ([]*harvestv1.ColdLot, error) {
	byCode := map[string]*harvestv1.ColdLot{}
	order := make([]shelflife.Lot, len(stock))
	for i, l := range stock {
		picked := cal.pickedAt(l.PickLot)
		m := &harvestv1.ColdLot{
			PickLot: lots.Message(l.PickLot), LeftGrams: l.Left() - l.Dispatched, StoreId: l.StoreID,
			AgeHours: max(0, int64(cal.now.Sub(picked)/time.Hour)),
		}
		past, now := spells(readings[l.StoreID], picked, cal.now)
		m.AssumedTemperature = len(readings[l.StoreID]) == 0
		order[i] = shelflife.Lot{Code: l.ID, AgeHours: int(m.AgeHours)}
		hours, ok, err := remaining(l, past, now)
		if err != nil {
			return nil, err
		}
		if ok {
			left := int64(hours)
			m.RemainingHours, order[i].RemainHours = &left, hours
		}
		byCode[l.ID] = m
	}
	out := make([]*harvestv1.ColdLot, len(order))
	for i, l := range shelflife.OldestFirst(order) {
		out[i] = byCode[l.Code]
	}
	return out, nil
}

// remaining is how many hours a lot still keeps at a temperature; ok is false
// where no table tells of its species.
func remaining(l store.Stock, past []shelflife.Spell, tenthsC int) (hours int, ok bool, err error) {
	name := shelfName(l.Species)
	if name == "" {
		return 0, false, nil
	}
	if hours, err = shelflife.Remaining(shelflife.Defaults(), name, past, tenthsC); err != nil {
		return 0, false, fmt.Errorf("lot %s: %w", l.ID, err)
	}
	return hours, true, nil
}

// pickedAt is when a lot was picked: when its first weighing was recorded, or
// noon of its day where that was written down on another day.
func (c calendar) pickedAt(l store.PickLot) time.Time {
	y, m, d := l.Day.Time().Date()
	noon := time.Date(y, m, d, 12, 0, 0, 0, c.now.Location())
	if l.PickedAt == nil {
		return noon
	}
	if at := l.PickedAt.In(c.now.Location()); at.Format(time.DateOnly) == l.Day.String() {
		return at
	}
	return noon
}

// spells are the stays of a lot at the temperatures of its store, each reading
// holding until the next, and the temperature now. Before the first reading it
// was as warm as at that reading; without any, as warm as common practice lets a
// store be.
func spells(readings []store.StoreReading, from, to time.Time) (past []shelflife.Spell, now int) {
	if len(readings) == 0 {
		return []shelflife.Spell{{Hours: max(0, int(to.Sub(from)/time.Hour)), TenthC: shelflife.PracticeHigh}}, shelflife.PracticeHigh
	}
	now = readings[0].TenthsC
	// Minutes are gathered by temperature, so that many short stays lose nothing.
	minutes := map[int]int{}
	at := from
	for _, r := range readings {
		if r.Time.After(to) {
			break
		}
		if r.Time.After(at) {
			minutes[now] += int(r.Time.Sub(at) / time.Minute)
			at = r.Time
		}
		now = r.TenthsC
	}
	if to.After(at) {
		minutes[now] += int(to.Sub(at) / time.Minute)
	}
	for t, m := range minutes {
		past = append(past, shelflife.Spell{Hours: m / 60, TenthC: t})
	}
	slices.SortFunc(past, func(a, b shelflife.Spell) int { return cmp.Compare(a.TenthC, b.TenthC) })
	return past, now
}
