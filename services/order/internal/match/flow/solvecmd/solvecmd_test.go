package solvecmd

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match/flow"
)

// outcome of a run.
type outcome struct {
	Code           int
	Stdout, Stderr string
}

func run(ctx context.Context, stdin string, args ...string) outcome {
	var stdout, stderr strings.Builder
	code := Run(ctx, args, strings.NewReader(stdin), &stdout, &stderr)
	return outcome{code, stdout.String(), stderr.String()}
}

// sample is the example of the format's description; its optimum is 14.
const sample = "p min 4 5\nn 1 4\nn 4 -4\na 1 2 0 4 2\na 1 3 0 2 2\na 2 3 0 2 1\na 2 4 0 3 3\na 3 4 0 5 1\n"

func TestSolvesFileAndStandardInput(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "sample.min")
	if err := os.WriteFile(file, []byte(sample), 0o600); err != nil {
		t.Fatal(err)
	}
	number := regexp.MustCompile(`(seconds|solves|bytes) [0-9.]+`)
	for name, got := range map[string]outcome{
		"file":           run(t.Context(), "", file),
		"standard input": run(t.Context(), sample, "-"),
	} {
		got.Stdout = number.ReplaceAllString(got.Stdout, "$1 #")
		want := outcome{0, "c read_seconds #\nc solve_seconds #\nc solves #\nc peak_bytes #\nc program_bytes #\nc arc_bytes #\n" +
			"s 14\nf 1 2 2\nf 1 3 2\nf 2 3 2\nf 2 4 0\nf 3 4 4\n", ""}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}

func TestRefusesWithCode2(t *testing.T) {
	t.Parallel()
	missing := filepath.Join(t.TempDir(), "none.min")
	cases := []struct {
		name, stdin string
		args        []string
		says        string
	}{
		{"no argument", "", nil, "usage: solve flow FILE"},
		{"two arguments", "", []string{"a", "b"}, "usage: solve flow FILE"},
		{"no such file", "", []string{missing}, "none.min: no such file"},
		{"malformed", "p min 2 1\na 1 x 0 1 1\n", []string{"-"}, `line 2: DST is "x"`},
		{"unbalanced, short", "p min 2 1\nn 2 -3\na 1 2 0 9 1\n", []string{"-"}, "demands exceed supplies by 3"},
		{"unbalanced, over", "p min 2 1\nn 1 3\na 1 2 0 9 1\n", []string{"-"}, "supplies exceed demands by 3"},
		{"infeasible", "p min 3 2\nn 1 3\nn 3 -3\na 1 2 0 9 1\na 2 3 0 1 1\n", []string{"-"}, "infeasible: 2 units cannot leave these 2 nodes: 1 2"},
		{"infeasible at one node", "p min 2 1\nn 1 3\nn 2 -3\na 1 2 0 1 1\n", []string{"-"}, "infeasible: 2 units cannot leave node 1"},
		{"unbounded", "p min 2 3\na 1 1 0 1 1\na 1 2 0 -1 1\na 2 1 0 -1 -3\n", []string{"-"}, "unbounded: the cost falls by 2 "},
		{"cost too large", "p min 2 1\na 1 2 0 1 -9223372036854775807\n", []string{"-"}, "too large: a line 1: cost"},
		{"supply too large", "p min 2 0\nn 1 9223372036854775807\n", []string{"-"}, "too large: node 1: supply"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := run(t.Context(), c.stdin, c.args...)
			if got.Code != 2 || got.Stdout != "" || !strings.Contains(got.Stderr, c.says) {
				t.Errorf("code %d, stdout %q, stderr %q; want code 2, no solution, …%s…", got.Code, got.Stdout, got.Stderr, c.says)
			}
		})
	}
}

func TestCancelledIsCode1(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if got := run(ctx, sample, "-"); got.Code != 1 || !strings.Contains(got.Stderr, "canceled") {
		t.Errorf("code %d, stderr %q; want code 1 and the reason", got.Code, got.Stderr)
	}
}

// full is a writer without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestFullDiskIsCode1(t *testing.T) {
	t.Parallel()
	var stderr strings.Builder
	if code := Run(t.Context(), []string{"-"}, strings.NewReader(sample), full{}, &stderr); code != 1 || !strings.Contains(stderr.String(), "no space left") {
		t.Errorf("code %d, stderr %q; want code 1 and the reason", code, stderr.String())
	}
}

func TestPeakBytesIsPlausible(t *testing.T) {
	t.Parallel()
	if got := measure(); got.peak < 1<<20 || got.peak > 1<<40 || got.program > got.peak {
		t.Errorf("%d bytes, %d of them the program's", got.peak, got.program)
	}
	if size, ok := field([]byte("Name:\tx\nVmHWM:\t  2048 kB\nVmRSS:\t 1024 kB\n"), "VmHWM:"); !ok || size != 2048*1024 {
		t.Errorf("high water %d, %t; want 2048 KiB", size, ok)
	}
	if _, ok := field([]byte("Name:\tx\n"), "VmHWM:"); ok {
		t.Error("found a high water mark where there is none")
	}
}

func TestArcBytesCountLowerBounds(t *testing.T) {
	t.Parallel()
	p := &flow.Problem{From: make([]int32, 3)}
	if got := arcBytes(p); got != 72 {
		t.Errorf("%d bytes for 3 arcs, want 24 each", got)
	}
	p.Low = make([]int64, 3)
	if got := arcBytes(p); got != 96 {
		t.Errorf("%d bytes for 3 arcs with lower bounds, want 32 each", got)
	}
}

func TestListOfMany(t *testing.T) {
	t.Parallel()
	var ids []int32
	for i := range int32(13) {
		ids = append(ids, i)
	}
	if got, want := list(ids), "1 2 3 4 5 6 7 8 9 10 and 3 more"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
