package server

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/exposure"
	"breakshare.example/services/compostlot/internal/store"
)

// gases are the kinds that have exposure limits.
var gases = map[compostlotv1.ReadingKind]exposure.Gas{
	compostlotv1.ReadingKind_READING_KIND_AMMONIA:           exposure.Ammonia,
	compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE: exposure.HydrogenSulphide,
	compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE:    exposure.CarbonDioxide,
	compostlotv1.ReadingKind_READING_KIND_OXYGEN:            exposure.Oxygen,
}

var gasAdvice = map[exposure.Advice]compostlotv1.GasAdvice{
	exposure.Usual: compostlotv1.GasAdvice_GAS_ADVICE_USUAL,
	exposure.Watch: compostlotv1.GasAdvice_GAS_ADVICE_WATCH,
	exposure.Leave: compostlotv1.GasAdvice_GAS_ADVICE_LEAVE,
	exposure.Flee:  compostlotv1.GasAdvice_GAS_ADVICE_FLEE,
}

// gasFindings judges what the gas probes of a lot read in the day before an instant, the
// gravest first.
func gasFindings(ctx context.Context, tx pgx.Tx, lotID string, at time.Time) ([]*compostlotv1.GasFinding, error) {
	var kinds []int16
	for kind := range gases {
		kinds = append(kinds, int16(kind))
	}
	slices.Sort(kinds)
	from := at.Add(-24 * time.Hour)
	days, err := store.DaysBetween(ctx, tx, lotID, kinds, from.UTC().Truncate(24*time.Hour), at)
	if err != nil {
		return nil, err
	}
	calibrations, err := store.Calibrations(ctx, tx, lotID)
	if err != nil {
		return nil, err
	}
	var out []*compostlotv1.GasFinding
	for _, series := range chartSeries(days, calibrations, from.Unix(), at.Unix(), 1) {
		found, err := findingsOf(series)
		if err != nil {
			return nil, fmt.Errorf("probe %s: %w", series.GetProbeId(), err)
		}
		out = append(out, found...)
	}
	slices.SortStableFunc(out, func(a, b *compostlotv1.GasFinding) int {
		return cmp.Or(cmp.Compare(b.GetAdvice(), a.GetAdvice()), cmp.Compare(a.GetGas(), b.GetGas()), strings.Compare(a.GetProbeId(), b.GetProbeId()))
	})
	return out, nil
}

// findingsOf are the gravest single reading of a probe, and its gravest running mean over each
// time for which its gas has a limit.
func findingsOf(s *compostlotv1.ChartSeries) ([]*compostlotv1.GasFinding, error) {
	gas, limits := gases[s.GetKind()], exposure.Limits()
	var samples []exposure.Sample
	least, most := 0, 0
	for i, value := range s.GetMean() {
		// A meter that drifts reads a little below nothing in clean air; one that reads what no
		// air holds says nothing.
		sample := exposure.Sample{At: s.GetSeconds()[i], Milli: max(value, 0)}
		if !exposure.Possible(gas, sample.Milli) {
			continue
		}
		samples = append(samples, sample)
		last := len(samples) - 1
		if sample.Milli < samples[least].Milli {
			least = last
		}
		if sample.Milli > samples[most].Milli {
			most = last
		}
	}
	if len(samples) == 0 {
		return nil, nil
	}
	looks := []exposure.Mean{{From: samples[most].At, Milli: samples[most].Milli}}
	if gas == exposure.Oxygen { // too little is as bad as too much
		looks = append(looks, exposure.Mean{From: samples[least].At, Milli: samples[least].Milli})
	}
	first, err := gravest(s, gas, limits, looks)
	if err != nil {
		return nil, err
	}
	out := []*compostlotv1.GasFinding{first}
	for _, width := range exposure.Times(gas, limits) {
		full, part, err := exposure.Running(samples, width)
		if err != nil {
			return nil, err
		}
		var means []exposure.Mean
		for _, m := range []*exposure.Mean{full, part} {
			if m != nil {
				means = append(means, *m)
			}
		}
		mean, err := gravest(s, gas, limits, means)
		if err != nil {
			return nil, err
		}
		out = append(out, mean)
	}
	return out, nil
}

// gravest is the gravest of means of a probe; of equal ones the first.
func gravest(s *compostlotv1.ChartSeries, gas exposure.Gas, limits []exposure.Limit, means []exposure.Mean) (*compostlotv1.GasFinding, error) {
	var worst exposure.Judgement
	at := -1
	for i, m := range means {
		j, err := exposure.Judge(exposure.Reading{Gas: gas, Milli: m.Milli, Seconds: m.Seconds}, limits)
		if err != nil {
			return nil, err
		}
		if at < 0 || j.Advice > worst.Advice {
			worst, at = j, i
		}
	}
	m := means[at]
	out := &compostlotv1.GasFinding{
		ProbeId: s.GetProbeId(), Gas: s.GetKind(), ValueThousandths: m.Milli, Time: timestamppb.New(time.Unix(m.From, 0)),
		AveragedSeconds: m.Seconds, Advice: gasAdvice[worst.Advice], Explanation: worst.Sentence,
	}
	for _, f := range worst.Findings {
		if source := f.Limit.Source + " (" + f.Limit.Seen + ")"; !slices.Contains(out.GetSources(), source) {
			out.Sources = append(out.Sources, source)
		}
	}
	return out, nil
}

// GetEntryChecklist implements CompostLotService.
func (s *Server) GetEntryChecklist(ctx context.Context, req *compostlotv1.GetEntryChecklistRequest) (*compostlotv1.EntryChecklist, error) {
	place := exposure.Bunker
	if req.GetPlace() == compostlotv1.EntryPlace_ENTRY_PLACE_TUNNEL {
		place = exposure.Tunnel
	}
	out := &compostlotv1.EntryChecklist{Items: exposure.EntryChecklist(place), Deference: exposure.Deference}
	for _, l := range exposure.Limits() {
		out.Limits = append(out.Limits, &compostlotv1.ExposureLimit{
			Gas: kindOfGas(l.Gas), Name: l.Name, Thousandths: l.Milli, Least: l.Least, Seconds: l.Seconds, Source: l.Source + " (" + l.Seen + ")",
		})
	}
	if req.GetLotId() == "" {
		return out, nil
	}
	return out, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetLotId())
		if err != nil {
			return err
		}
		if !ok {
			return unknownLot("", req.GetLotId())
		}
		out.Gas, err = gasFindings(ctx, tx, lot.ID, s.now())
		return err
	})
}

func kindOfGas(g exposure.Gas) compostlotv1.ReadingKind {
	for kind, of := range gases {
		if of == g {
			return kind
		}
	}
	return compostlotv1.ReadingKind_READING_KIND_UNSPECIFIED
}
