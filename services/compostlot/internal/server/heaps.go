package server

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/massbalance"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// sampling is the share by which weighing and sampling of a heap may be off: common practice,
// no source.
const sampling = 0.05

// RecordHeap implements CompostLotService.
func (s *Server) RecordHeap(ctx context.Context, req *compostlotv1.RecordHeapRequest) (*compostlotv1.Lot, error) {
	return once(ctx, s, req, &compostlotv1.Lot{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Lot, error) {
		m := req.GetSample()
		lots, err := lockLots(ctx, tx, []*compostlotv1.HeapSample{m}, only("sample"))
		if err != nil {
			return nil, err
		}
		row, err := s.sampleRow(ctx, m)
		if err != nil {
			return nil, err
		}
		if err := store.SaveSample(ctx, tx, row); err != nil {
			return nil, err
		}
		// The balance of all samples, this one among them, must be possible.
		log, err := readLog(ctx, tx, row.LotID)
		if err != nil {
			return nil, err
		}
		if _, err := log.balance(); err != nil {
			return nil, heapFault(err)
		}
		lot := lots[row.LotID]
		if !req.GetSetsMade() {
			return lotMessage(lot), nil
		}
		return s.setMade(ctx, tx, lot, row)
	})
}

func (s *Server) sampleRow(ctx context.Context, m *compostlotv1.HeapSample) (store.Sample, error) {
	when, err := instant("sample.time", m.GetTime())
	if err != nil {
		return store.Sample{}, err
	}
	g, err := grams("sample.mass", m.GetMass())
	if err != nil {
		return store.Sample{}, err
	}
	if g == 0 {
		return store.Sample{}, fault.InvalidField("sample.mass.amount", "a heap weighs more than nothing: give its mass")
	}
	return store.Sample{
		LotID: m.GetLotId(), Time: when, Grams: g, Unit: int16(m.GetMass().GetUnit()), Moisture: m.GetMoisturePercent(),
		Nitrogen: m.GetNitrogenPercent(), Note: m.GetNote(), EnteredBy: actor(ctx), EnteredAt: s.now(),
	}, nil
}

// setMade makes the mass weighed what the lot came to. What was delivered stays delivered.
func (s *Server) setMade(ctx context.Context, tx pgx.Tx, lot store.Lot, row store.Sample) (*compostlotv1.Lot, error) {
	deliveries, err := store.ListDeliveries(ctx, tx, []string{lot.ID})
	if err != nil {
		return nil, err
	}
	draws := convert(deliveries, func(d store.Delivery) massbalance.Draw {
		return massbalance.Draw{ID: deliveryID(d), Grams: d.Kg * gramsPerKg}
	})
	left, err := massbalance.Remaining(row.Grams, draws)
	if err != nil {
		return nil, heapFault(err)
	}
	lot.MadeKg = row.Grams / gramsPerKg
	lot.RemainingKg = left / gramsPerKg
	if lot.MadeKg == 0 {
		return nil, fault.InvalidField("sample.mass.amount", "comes to less than a kilogram: what a lot came to is a kilogram or more")
	}
	return s.changeLot(ctx, tx, lot)
}

const gramsPerKg = 1000

// lotLog is what was done to a lot and what it weighed.
type lotLog struct {
	turns       []store.Turn
	supplements []store.Supplement
	samples     []store.Sample
}

func readLog(ctx context.Context, tx pgx.Tx, lotID string) (lotLog, error) {
	var out lotLog
	var err error
	if out.turns, err = store.Turns(ctx, tx, lotID); err != nil {
		return out, err
	}
	if out.supplements, err = store.Supplements(ctx, tx, lotID); err != nil {
		return out, err
	}
	out.samples, err = store.Samples(ctx, tx, lotID)
	return out, err
}

func heapOf(s store.Sample) massbalance.Heap {
	return massbalance.Heap{WetGrams: s.Grams, Moisture: s.Moisture, Nitrogen: s.Nitrogen}
}

// added is what turns put in after one instant and up to another, water left out: it holds no
// dry matter.
func (l lotLog) added(after, until time.Time) []massbalance.Heap {
	var out []massbalance.Heap
	for _, t := range l.turns {
		if !t.Time.After(after) || t.Time.After(until) {
			continue
		}
		for _, p := range l.supplements {
			if p.Turn != t.Number || p.Grams == 0 || p.Moisture == 100 {
				continue
			}
			out = append(out, massbalance.Heap{WetGrams: p.Grams, Moisture: p.Moisture, Nitrogen: *p.Nitrogen})
		}
	}
	return out
}

// balance is what became of the mass from sample to sample.
func (l lotLog) balance() ([]*compostlotv1.MassBalanceStep, error) {
	var out []*compostlotv1.MassBalanceStep
	for i := 1; i < len(l.samples); i++ {
		step, err := l.step(l.samples[i-1], l.samples[i])
		if err != nil {
			return nil, err
		}
		out = append(out, step)
	}
	return out, nil
}

func (l lotLog) step(a, b store.Sample) (*compostlotv1.MassBalanceStep, error) {
	before, after := heapOf(a), heapOf(b)
	added := l.added(a.Time, b.Time)
	loss, err := massbalance.Measured(before, after, added, sampling)
	if err != nil {
		return nil, err
	}
	dry, nitrogen := before.DryGrams(), before.NitrogenGrams()
	for _, h := range added {
		dry, nitrogen = dry+h.DryGrams(), nitrogen+h.NitrogenGrams()
	}
	out := &compostlotv1.MassBalanceStep{
		From: timestamppb.New(a.Time), To: timestamppb.New(b.Time), DryLoss: loss.Dry, NitrogenLoss: loss.Nitrogen,
	}
	if nitrogen > 0 && after.Nitrogen > 0 {
		if out.LeastDryLoss, err = massbalance.LeastDryLoss(100*nitrogen/dry, after.Nitrogen); err != nil {
			return nil, err
		}
	}
	if out.DryBefore, err = mass(int64(dry+0.5), compostlotv1.MassUnit(b.Unit)); err != nil {
		return nil, err
	}
	if out.DryAfter, err = mass(int64(after.DryGrams()+0.5), compostlotv1.MassUnit(b.Unit)); err != nil {
		return nil, err
	}
	usual := massbalance.UsualLosses()
	u := slices.MinFunc(usual, func(a, b massbalance.Usual) int { return a.Phase - b.Phase })
	out.Explanation = fmt.Sprintf("%.1f %% of the dry matter and %.1f %% of the nitrogen went. Each of phases I and II usually takes %.0f to %.0f %% of the dry matter that enters it (%s).",
		100*loss.Dry, 100*loss.Nitrogen, 100*u.Low, 100*u.High, u.Source)
	return out, nil
}

func sampleMessage(s store.Sample) (*compostlotv1.HeapSample, error) {
	m, err := mass(s.Grams, compostlotv1.MassUnit(s.Unit))
	return &compostlotv1.HeapSample{
		LotId: s.LotID, Time: timestamppb.New(s.Time), Mass: m, MoisturePercent: s.Moisture, NitrogenPercent: s.Nitrogen, Note: s.Note, RecordedBy: s.EnteredBy,
	}, err
}

// heapFault turns an error of the mass balance into a fault.
func heapFault(err error) error {
	var (
		invalid    *massbalance.InvalidError
		impossible *massbalance.ImpossibleError
		overdrawn  *massbalance.OverdrawnError
	)
	switch {
	case errors.As(err, &impossible):
		return precondition(ReasonImpossible, "sample.mass", "%v", impossible)
	case errors.As(err, &overdrawn):
		return precondition(ReasonLotShort, "sample.mass", "%v", overdrawn)
	case errors.As(err, &invalid):
		return fault.InvalidField("sample", "%v", invalid)
	}
	return err
}
