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
	for _, width := range []int64{1, 15 * 60, 8 * 3600} {
		for _, s := range chartSeries(days, calibrations, from.Unix(), at.Unix(), width) {
			if width > 1 && len(s.GetSeconds()) == 0 {
				continue
			}
			worst, err := worstOf(s, width)
			if err != nil {
				return nil, err
			}
			out = append(out, worst)
		}
	}
	slices.SortStableFunc(out, func(a, b *compostlotv1.GasFinding) int {
		return cmp.Or(cmp.Compare(b.GetAdvice(), a.GetAdvice()), cmp.Compare(a.GetGas(), b.GetGas()), strings.Compare(a.GetProbeId(), b.GetProbeId()))
	})
	return out, nil
}

// worstOf is the gravest of a probe's means over a width of time; a width of a second stands
// for single readings.
func worstOf(s *compostlotv1.ChartSeries, width int64) (*compostlotv1.GasFinding, error) {
	seconds := width
	if width == 1 {
		seconds = 0
	}
	var worst exposure.Judgement
	found := -1
	for i, value := range s.GetMean() {
		// A meter that drifts reads a little below nothing in clean air.
		j, err := exposure.Judge(exposure.Reading{Gas: gases[s.GetKind()], Milli: max(value, 0), Seconds: seconds}, exposure.Limits())
		if err != nil {
			return nil, fmt.Errorf("probe %s: %w", s.GetProbeId(), err)
		}
		graver := found < 0 || j.Advice > worst.Advice
		if found >= 0 && j.Advice == worst.Advice {
			graver = value > s.GetMean()[found]
			if s.GetKind() == compostlotv1.ReadingKind_READING_KIND_OXYGEN {
				graver = value < s.GetMean()[found]
			}
		}
		if graver {
			worst, found = j, i
		}
	}
	out := &compostlotv1.GasFinding{
		ProbeId: s.GetProbeId(), Gas: s.GetKind(), ValueThousandths: s.GetMean()[found], Time: timestamppb.New(time.Unix(s.GetSeconds()[found], 0)),
		AveragedSeconds: seconds, Advice: gasAdvice[worst.Advice], Explanation: worst.Sentence,
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
