package solvefillplan

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"breakshare.example/services/scheduling/internal/fillplan"
)

func instance(name string) string {
	return filepath.Join("..", "..", "..", "..", "testdata", "fillplan", name+".json")
}

func TestRunPrintsThePlan(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	if code := Run(context.Background(), []string{instance("tiny-s2"), "--seconds", "20"}, &out, &errs); code != ExitDone {
		t.Fatalf("exit code %d: %s", code, &errs)
	}
	var got struct {
		Instance string
		Fills    [][3]int
		Cost     json.Number
		Bound    json.Number
	}
	dec := json.NewDecoder(&out)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&got); err != nil {
		t.Fatal(err)
	}
	if dec.More() {
		t.Error("more than one JSON value printed")
	}
	// The optimum, proven by a general-purpose solver; see testdata/fillplan.
	if got.Instance != "tiny-s2" || got.Cost != "7734297.5" || got.Bound != "7734297.5" {
		t.Errorf("got %+v, want cost and bound 7734297.5", got)
	}
	f, err := os.Open(instance("tiny-s2"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in, err := fillplan.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	plan := fillplan.Plan{Instance: got.Instance}
	for _, f := range got.Fills {
		plan.Fills = append(plan.Fills, fillplan.Fill{Room: f[0], Programme: f[1], Week: f[2]})
	}
	if err := fillplan.Check(in, plan); err != nil {
		t.Error(err)
	}
	if m := fillplan.Evaluate(in, plan.Fills).M(); m != 7_734_297_500 {
		t.Errorf("the plan printed costs %d", m)
	}
}

func TestRunStopsInTime(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	var out, errs bytes.Buffer
	start := time.Now()
	if code := Run(ctx, []string{"--seconds=0.5", instance("medium-s2")}, &out, &errs); code != ExitDone {
		t.Fatalf("exit code %d: %s", code, &errs)
	}
	if ctx.Err() != nil {
		t.Errorf("stopped after %v only with its context", time.Since(start))
	}
	if !strings.Contains(out.String(), `"fills":[[`) {
		t.Errorf("printed %s", &out)
	}
}

func TestRunRefuses(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(instance("tiny-s1"))
	if err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(t.TempDir(), "bad.json")
	if err := os.WriteFile(bad, bytes.Replace(data, []byte(`"area":240`), []byte(`"area":0`), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		want string
	}{
		{"malformed instance", []string{bad}, "rooms[2].area: must be at least 1"},
		{"no such file", []string{filepath.Join(t.TempDir(), "none.json")}, "none.json"},
		{"no file", nil, "FILE is missing"},
		{"two files", []string{"a", "b"}, "one FILE"},
		{"unknown flag", []string{"--fast", "a"}, "unknown flag --fast"},
		{"seconds without a number", []string{"a", "--seconds"}, "needs a number"},
		{"seconds not a number", []string{"a", "--seconds", "soon"}, `got "soon"`},
		{"no seconds", []string{"a", "--seconds=0"}, "above 0"},
		{"seconds NaN", []string{"a", "--seconds", "NaN"}, "above 0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var out, errs bytes.Buffer
			if code := Run(context.Background(), c.args, &out, &errs); code != ExitRefused {
				t.Errorf("exit code %d, want %d", code, ExitRefused)
			}
			if out.Len() > 0 || !strings.Contains(errs.String(), c.want) {
				t.Errorf("printed %q, said %q; want nothing and %q", &out, &errs, c.want)
			}
		})
	}
}

func TestRunHelp(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	if code := Run(context.Background(), []string{"--help"}, &out, &errs); code != ExitDone || !strings.Contains(out.String(), "--seconds") || errs.Len() > 0 {
		t.Errorf("code %d, printed %q, said %q", code, &out, &errs)
	}
}

// brokenPipe fails every write.
type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, errors.New("nobody reads") }

func TestRunSaysWhenItCannotPrint(t *testing.T) {
	t.Parallel()
	var errs bytes.Buffer
	code := Run(context.Background(), []string{instance("tiny-s1"), "--seconds", "0.2"}, brokenPipe{}, &errs)
	if code != ExitFailed || !strings.Contains(errs.String(), "nobody reads") {
		t.Errorf("exit code %d, said %q", code, &errs)
	}
}

func TestCents(t *testing.T) {
	t.Parallel()
	for m, want := range map[int64]json.Number{0: "0", 7_211_976_500: "7211976.5", 1_000: "1", 1: "0.001"} {
		if got := cents(m); got != want {
			t.Errorf("cents(%d) = %s, want %s", m, got, want)
		}
	}
}
