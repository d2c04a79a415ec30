package release

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestRulesOfEachPhase(t *testing.T) {
	t.Parallel()
	for phase := 1; phase <= 3; phase++ {
		rules, err := ForPhase(phase)
		if err != nil {
			t.Fatal(err)
		}
		if err := rules.Check(); err != nil {
			t.Errorf("rules of phase %d: %v", phase, err)
		}
	}
	var bad *RuleError
	for _, phase := range []int{-1, 0, 4} {
		if _, err := ForPhase(phase); !errors.As(err, &bad) {
			t.Errorf("phase %d: %v, want a *RuleError", phase, err)
		}
	}
}

// The band of nitrogen at make-up is that of Penn State, Substrate Preparation for White
// Button Mushrooms, fact sheet, 2023: 1.5 to 1.7 % of dry matter. Its worked horse-manure
// pile comes to 1.573 %, which the band must take.
func TestNitrogenAtMakeUp(t *testing.T) {
	t.Parallel()
	rules, err := ForPhase(1)
	if err != nil {
		t.Fatal(err)
	}
	for nitrogen, want := range map[int64]Verdict{1499: NotMet, 1500: Met, 1573: Met, 1700: Met, 1701: NotMet} {
		report, err := Evaluate(Evidence{
			At: 5000, Marks: map[Mark]int64{Filled: 1000},
			Series: []Series{{Probe: Probe{ID: "lab", Quantity: Nitrogen}, Times: []int64{2000}, Values: []int64{nitrogen}}},
		}, rules)
		if err != nil {
			t.Fatal(err)
		}
		if got := report.Findings[0].Verdict; got != want {
			t.Errorf("%d thousandths of a percent: %v, want %v", nitrogen, got, want)
		}
	}
}

func TestRequirementInWords(t *testing.T) {
	t.Parallel()
	want := []string{
		"Compost temperature and air temperature of every probe at least 60 °C for 2 h without a break, between filling and end of cooling",
		"Compost temperature of every probe 45 °C to 50 °C for 96 h in all, between filling and end of cooling",
		"Ammonia of every probe at most 10 ppm, measured after the end of cooling, the last 3 readings, not older than 24 h",
		"Compost temperature of every probe 23.9 °C to 26.7 °C, measured after the end of cooling, not older than 12 h",
		"Moisture of every probe 68 % to 74 %, measured after the end of cooling",
		"Nitrogen of dry matter of every probe 2.1 % to 2.3 %, measured after the end of cooling",
		"pH of every probe 7 to 8, measured after the end of cooling",
	}
	var got []string
	for _, c := range Defaults().Criteria {
		got = append(got, c.Requirement())
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("requirements (-want +got):\n%s", diff)
	}
}
