package release

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A co-op's own figures replace the catalogue's and carry the co-op's own source.
func TestChoose(t *testing.T) {
	t.Parallel()
	got, err := Choose(3, []Choice{{Key: "pasteurise-58-62C-4h", Seconds: new(int64(6 * hour)), Source: "our composter's advice, 2026"}, {Key: "ph-7-8"}})
	if err != nil {
		t.Fatal(err)
	}
	if c := got.Criteria[0]; c.Seconds != 6*hour || *c.Low != 58_000 || c.Source != (Source{"our composter's advice, 2026", CoopsOwn}) {
		t.Errorf("chose %+v", c)
	}
	if len(got.Criteria) != 2 || got.Criteria[1].Source.Standing != CommonPractice {
		t.Errorf("chose %+v", got.Criteria)
	}
	for name, choices := range map[string][]Choice{
		"nothing":            nil,
		"unknown":            {{Key: "smells-right"}},
		"two of one subject": {{Key: "pasteurise-58-62C-4h"}, {Key: "pasteurise-60C-2h"}},
		"without a source":   {{Key: "ph-7-8", Low: new(int64(6000))}},
		"upside down":        {{Key: "ph-7-8", Low: new(int64(9000)), Source: "x"}},
		"time of a look":     {{Key: "ph-7-8", Seconds: new(int64(60)), Source: "x"}},
		"another phase's":    {{Key: "make-up-nitrogen-1.5-1.7"}},
	} {
		var rule *RuleError
		if _, err := Choose(2, choices); !errors.As(err, &rule) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Choose(4, nil); err == nil {
		t.Error("a phase 4 is known")
	}
	// Choosing the first of each subject gives what every co-op begins with.
	for phase := 1; phase <= 3; phase++ {
		want, err := ForPhase(phase)
		if err != nil {
			t.Fatal(err)
		}
		var choices []Choice
		for _, c := range want.Criteria {
			choices = append(choices, Choice{Key: c.Key})
		}
		if same, err := Choose(phase, choices); err != nil || cmp.Diff(want, same) != "" {
			t.Errorf("phase %d: %v\n%s", phase, err, cmp.Diff(want, same))
		}
	}
}
