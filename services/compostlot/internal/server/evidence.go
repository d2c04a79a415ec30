package server

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/release"
	"breakshare.example/services/compostlot/internal/store"
)

// judge evaluates the rules of a lot's phase in force at an instant on what is stored of it, as
// of that instant.
func judge(ctx context.Context, tx pgx.Tx, lot store.Lot, at time.Time) (*release.Report, error) {
	rules, _, err := rulesAt(ctx, tx, lot.Phase, at)
	if err != nil {
		return nil, fmt.Errorf("lot %s: %w", lot.ID, err)
	}
	marks, err := store.Marks(ctx, tx, []string{lot.ID})
	if err != nil {
		return nil, err
	}
	calibrations, err := store.Calibrations(ctx, tx, lot.ID)
	if err != nil {
		return nil, err
	}
	days, err := store.Days(ctx, tx, lot.ID)
	if err != nil {
		return nil, err
	}
	in := release.Evidence{At: at.Unix(), Marks: map[release.Mark]int64{}, Series: series(days, calibrations)}
	for _, m := range marks {
		if release.Mark(m.Number) <= release.Cooled { // the others bound no criterion
			in.Marks[release.Mark(m.Number)] = m.Time.Unix()
		}
	}
	report, err := release.Evaluate(in, rules)
	if err != nil {
		return nil, fmt.Errorf("lot %s: %w", lot.ID, err)
	}
	return report, nil
}

// series joins the days, which come by probe, kind and day, into one series for each probe
// and kind. Where a probe measures several things, its kind is added to its name.
func series(days []store.Day, calibrations []store.Calibration) []release.Series {
	offsets := make(map[store.Probe]int64, len(calibrations))
	for _, c := range calibrations {
		offsets[c.Probe] = c.OffsetThousandths
	}
	var out []release.Series
	for len(days) > 0 {
		probe := days[0].Probe
		n, readings := 0, 0
		for n < len(days) && days[n].Probe == probe {
			readings += len(days[n].Seconds)
			n++
		}
		s := release.Series{
			Probe: release.Probe{ID: probe.ProbeID, Quantity: quantities[compostlotv1.ReadingKind(probe.Kind)], Offset: offsets[probe]},
			Times: make([]int64, 0, readings), Values: make([]int64, 0, readings),
		}
		for _, d := range days[:n] {
			midnight := d.Day.Unix()
			for i, second := range d.Seconds {
				s.Times, s.Values = append(s.Times, midnight+int64(second)), append(s.Values, int64(d.Thousandths[i]))
			}
		}
		if slices.ContainsFunc(out, func(o release.Series) bool { return o.Probe.ID == s.Probe.ID }) {
			s.Probe.ID += " (" + s.Probe.Quantity.String() + ")"
		}
		out, days = append(out, s), days[n:]
	}
	return out
}

var findings = map[release.Verdict]compostlotv1.Finding{
	release.Met:       compostlotv1.Finding_FINDING_MET,
	release.NotMet:    compostlotv1.Finding_FINDING_NOT_MET,
	release.NotProven: compostlotv1.Finding_FINDING_NOT_PROVEN,
}

func criterionMessage(f release.Finding) *compostlotv1.CriterionResult {
	return &compostlotv1.CriterionResult{
		CriterionId: f.Criterion.Key, Requirement: f.Criterion.Requirement(), Finding: findings[f.Verdict],
		Explanation: explanation(f), Source: f.Criterion.Source.Text + " (" + string(f.Criterion.Source.Standing) + ")", Note: f.Criterion.Note,
	}
}

// explanation is why, and how to mend it.
func explanation(f release.Finding) string {
	if f.Mend == "" {
		return f.Why
	}
	return f.Why + " " + f.Mend
}
