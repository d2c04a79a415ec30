package server_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const ammonia = compostlotv1.ReadingKind_READING_KIND_AMMONIA

func constant(kind compostlotv1.ReadingKind, value int64) log {
	return log{kind, func(m int) int64 { return value + int64(m%3) }}
}

// The chart of a sound lot: every probe within its points, the peak of pasteurising in it, the
// limits of the rules and the marks beside it, the calibration counted.
func TestLotChart(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	r.prove(t, "quarry-7")
	must[*compostlotv1.Probe](t)(r.SaveProbe(r.office(t), &compostlotv1.SaveProbeRequest{RequestId: ids.New(), Probe: &compostlotv1.Probe{
		LotId: "quarry-7", ProbeId: "p2", Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, OffsetThousandths: -300,
	}}))
	got := must[*compostlotv1.LotChart](t)(r.GetLotChart(r.office(t), &compostlotv1.GetLotChartRequest{LotId: "quarry-7", Points: 200}))
	if len(got.GetSeries()) != 7 || got.GetBucketSeconds() != 3600 || len(got.GetMarks()) != 5 {
		t.Fatalf("%d series in buckets of %d s with %d marks", len(got.GetSeries()), got.GetBucketSeconds(), len(got.GetMarks()))
	}
	for _, s := range got.GetSeries() {
		if n := len(s.GetSeconds()); n == 0 || n > 201 || n != len(s.GetLeast()) || n != len(s.GetMean()) || n != len(s.GetMost()) {
			t.Errorf("probe %s: %d points", s.GetProbeId(), n)
		}
		peak := map[string]int64{"p1": 60_260, "p2": 59_960, "air": 60_260}
		if want, ok := peak[s.GetProbeId()]; ok && slices.Max(s.GetMost()) != want {
			t.Errorf("probe %s peaks at %d, want %d", s.GetProbeId(), slices.Max(s.GetMost()), want)
		}
	}
	kinds := map[compostlotv1.ReadingKind]int{}
	for _, l := range got.GetLimits() {
		kinds[l.GetKind()]++
	}
	if kinds[compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE] != 3 || kinds[ammonia] != 1 {
		t.Errorf("limits %v", got.GetLimits())
	}
	close := must[*compostlotv1.LotChart](t)(r.GetLotChart(r.office(t), &compostlotv1.GetLotChartRequest{
		LotId: "quarry-7", Kinds: []compostlotv1.ReadingKind{ammonia}, From: timestamppb.New(noon.Add(-150 * time.Minute)), To: timestamppb.New(noon),
	}))
	if len(close.GetSeries()) != 1 || len(close.GetSeries()[0].GetSeconds()) != 2 || len(close.GetLimits()) != 1 || close.GetLimits()[0].GetHighThousandths() != 10_000 {
		t.Errorf("ammonia %v", close)
	}
	r.open(t, phaseTwo("quarry-8", 1000))
	if none := must[*compostlotv1.LotChart](t)(r.GetLotChart(r.office(t), &compostlotv1.GetLotChartRequest{LotId: "quarry-8"})); len(none.GetSeries()) != 0 {
		t.Errorf("a lot without readings shows %v", none)
	}
	_, err := r.GetLotChart(r.office(t), &compostlotv1.GetLotChartRequest{LotId: "none"})
	refused(t, err, fault.NotFound, "UNKNOWN_LOT", "lot_id")
	_, err = r.GetLotChart(r.office(t), &compostlotv1.GetLotChartRequest{LotId: "quarry-7", From: timestamppb.New(noon), To: timestamppb.New(noon.Add(-time.Hour))})
	refused(t, err, fault.Invalid, "", "to")
}

// Gas against published limits, with their sources: 60 ppm of ammonia for a day is beyond the
// short-term limit of 35 and the permitted working day of 50 ppm; oxygen of 19.0 % lies below
// the 19.5 % of confined spaces (29 CFR 1910.146).
func TestGasAgainstExposureLimits(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	from := noon.Add(-20 * time.Hour)
	all := append(readings("quarry-7", "nh3", constant(ammonia, 60_000), from, 1200), readings("quarry-7", "o2", constant(compostlotv1.ReadingKind_READING_KIND_OXYGEN, 19_000), from, 1200)...)
	all = append(all, readings("quarry-7", "h2s", constant(compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE, 120_000), from, 1)...)
	all = append(all, readings("quarry-7", "co2", constant(compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE, 900_000), from, 60)...)
	// No air holds so much oxygen: the probe says nothing, and hides nothing of the others.
	all = append(all, readings("quarry-7", "broken", constant(compostlotv1.ReadingKind_READING_KIND_OXYGEN, 150_000), from, 10)...)
	all = append(all, readings("quarry-7", "old", constant(ammonia, 900_000), noon.AddDate(0, 0, -3), 10)...)
	must[*compostlotv1.RecordReadingsResponse](t)(r.record(r.office(t), all))
	report := r.reportOf(t, "quarry-7")
	advice := map[string]compostlotv1.GasAdvice{}
	for _, g := range report.GetGas() {
		advice[g.GetProbeId()] = max(advice[g.GetProbeId()], g.GetAdvice())
		if g.GetAdvice() > compostlotv1.GasAdvice_GAS_ADVICE_USUAL && len(g.GetSources()) == 0 {
			t.Errorf("no source of %v", g)
		}
		if !strings.Contains(g.GetExplanation(), "Local codes") {
			t.Errorf("no deference in %q", g.GetExplanation())
		}
	}
	for probe, want := range map[string]compostlotv1.GasAdvice{"nh3": 3, "o2": 3, "h2s": 4, "co2": 1, "old": 0, "broken": 0} {
		if advice[probe] != want {
			t.Errorf("probe %s: %v, want %v", probe, advice[probe], want)
		}
	}
	if report.GetGas()[0].GetProbeId() != "h2s" || report.GetDeference() == "" {
		t.Errorf("the gravest is %v", report.GetGas()[0])
	}
	list := must[*compostlotv1.EntryChecklist](t)(r.GetEntryChecklist(r.office(t), &compostlotv1.GetEntryChecklistRequest{Place: compostlotv1.EntryPlace_ENTRY_PLACE_TUNNEL, LotId: "quarry-7"}))
	if len(list.GetItems()) < 8 || len(list.GetLimits()) != 15 || len(list.GetGas()) != len(report.GetGas()) || !strings.Contains(list.GetDeference(), "clears nobody") {
		t.Errorf("checklist %v", list)
	}
}

// A co-op's own rules count from when they are saved; a lot released before stays judged by
// the rules of its release.
func TestReleaseRulesAreTheCoops(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	two := typev1.CompostPhase_COMPOST_PHASE_TWO
	r.soundLot(t, "quarry-7", 1000)
	r.open(t, phaseTwo("quarry-8", 1000))
	r.clock.Advance(time.Hour)
	r.prove(t, "quarry-8")
	begins := must[*compostlotv1.GetReleaseRulesResponse](t)(r.GetReleaseRules(r.office(t), &compostlotv1.GetReleaseRulesRequest{Phase: two}))
	if len(begins.GetRules().GetCriteria()) != 7 || len(begins.GetCatalogue()) != 11 || begins.GetRules().GetEtag() != "" {
		t.Fatalf("a co-op begins with %d of %d criteria", len(begins.GetRules().GetCriteria()), len(begins.GetCatalogue()))
	}
	save := func(etag string, criteria ...*compostlotv1.ReleaseCriterion) (*compostlotv1.ReleaseRules, error) {
		return r.SaveReleaseRules(r.office(t), &compostlotv1.SaveReleaseRulesRequest{RequestId: ids.New(), Rules: &compostlotv1.ReleaseRules{Phase: two, Criteria: criteria, Etag: etag}})
	}
	// What was read can be sent back with one figure changed and its source named.
	criteria := begins.GetRules().GetCriteria()
	criteria[0].Seconds, criteria[0].Source = new(int64(6*3600)), "our composter's advice, 2026"
	saved := must[*compostlotv1.ReleaseRules](t)(save("", criteria...))
	if got := saved.GetCriteria()[0]; got.GetSource() != "our composter's advice, 2026" || !got.GetOwn() || !got.GetUnbroken() || len(got.GetKinds()) != 2 || !strings.Contains(got.GetRequirement(), "6 h") || saved.GetEtag() != "v1" {
		t.Errorf("saved %v", got)
	}
	r.clock.Advance(time.Minute)
	if report := r.reportOf(t, "quarry-7"); !report.GetProven() {
		t.Error("a lot released before is judged by the new rules")
	}
	report := r.reportOf(t, "quarry-8")
	if report.GetProven() || report.GetCriteria()[0].GetFinding() != compostlotv1.Finding_FINDING_NOT_MET {
		t.Errorf("three hours of pasteurising meet six: %v", report.GetCriteria()[0])
	}
	_, err := save("v1", &compostlotv1.ReleaseCriterion{CriterionId: "ph-7-8"}, &compostlotv1.ReleaseCriterion{CriterionId: "ammonia-10ppm", HighThousandths: new(int64(20_000))})
	refused(t, err, fault.Invalid, "", "rules.criteria[1].source")
	_, err = save("v1", &compostlotv1.ReleaseCriterion{CriterionId: "ph-7-8", LowThousandths: new(int64(8_100)), Source: "x"})
	refused(t, err, fault.Invalid, "", "rules.criteria[0].low_thousandths")
	_, err = save("v1", &compostlotv1.ReleaseCriterion{CriterionId: "ammonia-10ppm", Seconds: new(int64(60)), Source: "x"})
	refused(t, err, fault.Invalid, "", "rules.criteria[0].seconds")
	_, err = save("v1", &compostlotv1.ReleaseCriterion{CriterionId: "ammonia-10ppm"}, &compostlotv1.ReleaseCriterion{CriterionId: "ammonia-500ppm"})
	refused(t, err, fault.Invalid, "", "rules.criteria[1]")
	_, err = save("", &compostlotv1.ReleaseCriterion{CriterionId: "ph-7-8"})
	refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "rules.etag")
	// Phase three answers to the same rules.
	if got := must[*compostlotv1.GetReleaseRulesResponse](t)(r.GetReleaseRules(r.office(t), &compostlotv1.GetReleaseRulesRequest{Phase: 3})); got.GetRules().GetEtag() != "v1" {
		t.Errorf("phase three has %v", got.GetRules())
	}
}

// BenchmarkLot opens the chart of 20 probes over 14 days by the minute, 403,200 readings, and
// judges the same lot, both through gRPC.
func BenchmarkLot(b *testing.B) {
	r := newRigAlone(b)
	r.yards(b)
	r.open(b, phaseTwo("quarry-7", 1000))
	const days = 14
	from := noon.AddDate(0, 0, -days)
	for p := range 20 {
		must[*compostlotv1.RecordReadingsResponse](b)(r.record(r.office(b), readings("quarry-7", fmt.Sprintf("p%02d", p), celsius(48), from, days*24*60)))
	}
	m := soundLot("quarry-7", noon)
	must[*compostlotv1.MarkPhasesResponse](b)(r.MarkPhases(r.office(b), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: m.marks}))
	measure := func(b *testing.B, call func() error) {
		var took []time.Duration
		for b.Loop() {
			start := time.Now()
			if err := call(); err != nil {
				b.Fatal(err)
			}
			took = append(took, time.Since(start))
		}
		slices.Sort(took)
		b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
		b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	}
	b.Run("chart", func(b *testing.B) {
		measure(b, func() error {
			_, err := r.GetLotChart(r.office(b), &compostlotv1.GetLotChartRequest{LotId: "quarry-7"})
			return err
		})
	})
	b.Run("report", func(b *testing.B) {
		measure(b, func() error {
			_, err := r.GetLotReport(r.office(b), &compostlotv1.GetLotReportRequest{LotId: "quarry-7"})
			return err
		})
	})
}
