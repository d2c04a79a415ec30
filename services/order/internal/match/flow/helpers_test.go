package flow_test

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/dimacs"
)

const instances = "../../../../../testdata/flow"

// solve solves p from scratch and insists on a valid proof of optimality.
func solve(t testing.TB, p *flow.Problem) flow.Result {
	t.Helper()
	var s flow.Solver
	r, err := s.Solve(t.Context(), p, flow.Options{})
	if err != nil {
		t.Fatalf("Solve: %v", err)
	}
	if err := flow.Verify(p, r); err != nil {
		t.Fatalf("Verify: %v", err)
	}
	return r
}

// instance reads one of the reference problems.
func instance(t testing.TB, name string) *flow.Problem {
	t.Helper()
	f, err := os.Open(filepath.Join(instances, name+".min.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := dimacs.Read(f)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

// optimum is an entry of optima.json.
type optimum struct {
	Name      string
	Nodes     int
	Arcs      int
	Objective int64
}

func optima(t testing.TB) []optimum {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(instances, "optima.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all []optimum
	if err := json.Unmarshal(text, &all); err != nil {
		t.Fatal(err)
	}
	return all
}

// fuzzCase is a line of fuzz.jsonl.gz; nodes count from 1.
type fuzzCase struct {
	Name             string
	Supply, From, To []int64
	Cap, Cost        []int64
	Expect           struct {
		Status    string
		Objective int64
	}
}

func (c *fuzzCase) problem() *flow.Problem {
	p := &flow.Problem{Supply: c.Supply, Cap: c.Cap, Cost: c.Cost}
	for i := range c.From {
		p.From = append(p.From, int32(c.From[i]-1))
		p.To = append(p.To, int32(c.To[i]-1))
	}
	return p
}

func fuzzCases(t testing.TB) []fuzzCase {
	t.Helper()
	f, err := os.Open(filepath.Join(instances, "fuzz.jsonl.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	unzipped, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var all []fuzzCase
	lines := bufio.NewScanner(unzipped)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var c fuzzCase
		if err := json.Unmarshal(lines.Bytes(), &c); err != nil {
			t.Fatal(err)
		}
		all = append(all, c)
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}
