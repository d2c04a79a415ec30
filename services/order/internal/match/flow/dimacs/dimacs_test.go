package dimacs_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/dimacs"
)

// sample is the example of the format's description, as it is shown with
// LEMON's and lp_solve's documentation of it; its optimum is 14.
const sample = `c This is a simple example file to demonstrate the DIMACS
c input file format for minimum-cost flow problems.
c
p min 4 5
c
n 1 4
n 4 -4

a 1 2 0 4 2
a 1 3 0 2 2
a 2 3 0 2 1
a 2 4 0 3 3
a 3 4 0 5 1
`

func sampleProblem() *flow.Problem {
	return &flow.Problem{
		Supply: []int64{4, 0, 0, -4},
		From:   []int32{0, 0, 1, 1, 2}, To: []int32{1, 2, 2, 3, 3},
		Cap: []int64{4, 2, 2, 3, 5}, Cost: []int64{2, 2, 1, 3, 1},
	}
}

func TestSampleOfTheFormat(t *testing.T) {
	t.Parallel()
	p, err := dimacs.Read(strings.NewReader(sample))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(sampleProblem(), p); d != "" {
		t.Fatalf("problem (-want +got):\n%s", d)
	}
	var s flow.Solver
	r, err := s.Solve(t.Context(), p, flow.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := dimacs.Write(&out, p, r, "a remark"); err != nil {
		t.Fatal(err)
	}
	want := "c a remark\ns 14\nf 1 2 2\nf 1 3 2\nf 2 3 2\nf 2 4 0\nf 3 4 4\n"
	if d := cmp.Diff(want, out.String()); d != "" {
		t.Errorf("solution (-want +got):\n%s", d)
	}
}

func TestReadAcceptsTheSameInOtherDress(t *testing.T) {
	t.Parallel()
	var zipped bytes.Buffer
	w := gzip.NewWriter(&zipped)
	if _, err := io.WriteString(w, sample); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	long := "c" + strings.Repeat(" long", 1<<18) + "\n"
	for name, r := range map[string]io.Reader{
		"Windows line ends":   strings.NewReader(strings.ReplaceAll(sample, "\n", "\r\n")),
		"tabs and indents":    strings.NewReader(strings.ReplaceAll("  "+sample, " ", "\t ")),
		"no end of last line": strings.NewReader(strings.TrimSuffix(sample, "\n")),
		"a very long comment": strings.NewReader(long + sample),
		"byte by byte":        iotest.OneByteReader(strings.NewReader(sample)),
		"gzip":                &zipped,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, err := dimacs.Read(r)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(sampleProblem(), p); d != "" {
				t.Errorf("problem (-want +got):\n%s", d)
			}
		})
	}
}

func TestReadBounds(t *testing.T) {
	t.Parallel()
	p, err := dimacs.Read(strings.NewReader("p min 2 3\na 1 2 0 -1 0\na 1 2 3 9 -7\na 2 2 0 0 9223372036854775807\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := &flow.Problem{
		Supply: []int64{0, 0}, From: []int32{0, 0, 1}, To: []int32{1, 1, 1},
		Low: []int64{0, 3, 0}, Cap: []int64{flow.Unlimited, 9, 0}, Cost: []int64{0, -7, 9223372036854775807},
	}
	if d := cmp.Diff(want, p); d != "" {
		t.Errorf("problem (-want +got):\n%s", d)
	}
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	const head = "p min 2 1\nn 1 5\nn 2 -5\n"
	cases := []struct {
		name, text string
		line       int
		says       string
	}{
		{"empty", "", 0, "ends without a problem"},
		{"only comments", "c\nc x\n", 2, "expected p min NODES ARCS"},
		{"another problem", "p max 2 1\n", 1, `problem kind "max"; expected p min`},
		{"p line short", "p min 2\n", 1, "ARCS is missing"},
		{"p line long", "p min 2 1 3\n", 1, `"3" is left over`},
		{"no nodes", "p min 0 0\n", 1, "NODES is 0; expected 1 to"},
		{"too many nodes", "p min 99999999999 1\n", 1, "NODES is 99999999999"},
		{"negative arcs", "p min 2 -1\n", 1, "ARCS is -1"},
		{"too many arcs", "p min 2 9999999999\n", 1, "ARCS is 9999999999"},
		{"two p lines", "p min 2 1\np min 2 1\n", 2, "a second p line"},
		{"node first", "n 1 5\n", 1, "an n line before the p line"},
		{"arc first", "a 1 2 0 1 1\n", 1, "an a line before the p line"},
		{"node out of range", "p min 2 1\nn 3 5\n", 2, "ID is 3; expected a node from 1 to 2"},
		{"node twice", "p min 2 1\nn 1 5\nn 1 5\n", 3, "node 1 has an n line already"},
		{"node after arc", "p min 2 2\na 1 2 0 1 1\nn 1 5\n", 3, "an n line after an a line"},
		{"node without flow", "p min 2 1\nn 1\n", 2, "FLOW is missing; the form is n ID FLOW"},
		{"arc short", head + "a 1 2 0 5\n", 4, "COST is missing; the form is a SRC DST LOW CAP COST"},
		{"arc long", head + "a 1 2 0 5 1 1\n", 4, "left over"},
		{"source out of range", head + "a 0 2 0 5 1\n", 4, "SRC is 0; expected a node from 1 to 2"},
		{"target out of range", head + "a 1 3 0 5 1\n", 4, "DST is 3"},
		{"negative low", head + "a 1 2 -1 5 1\n", 4, "LOW is -1; expected 0 or more"},
		{"low above cap", head + "a 1 2 6 5 1\n", 4, "CAP 5 is below LOW 6"},
		{"fraction", head + "a 1 2 0 5 1.5\n", 4, `COST is "1.5"; expected an integer`},
		{"word", head + "a 1 2 0 inf 1\n", 4, `CAP is "inf"`},
		{"lone sign", head + "a 1 2 0 5 -\n", 4, `COST is "-"`},
		{"past 64 bits", head + "a 1 2 0 5 9223372036854775808\n", 4, "at most 19 digits"},
		{"too many arc lines", head + "a 1 2 0 5 1\na 1 2 0 5 1\n", 5, "more than the 1 arcs"},
		{"too few arc lines", head, 3, "ends after 0 arcs; expected the 1"},
		{"unknown line", head + "arc 1 2 0 5 1\n", 4, `starts with "arc"`},
		{"long line", head + "a" + strings.Repeat(" ", 1<<19) + "\n", 4, "longer than"},
		{"not text", "\x00\x01\x02\n", 1, "expected a line of kind c, p, n or a"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := dimacs.Read(strings.NewReader(c.text))
			var syntax *dimacs.SyntaxError
			if !errors.As(err, &syntax) {
				t.Fatalf("error %v; want a SyntaxError", err)
			}
			if syntax.Line != c.line || !strings.Contains(syntax.What, c.says) {
				t.Errorf("line %d: %s; want line %d: …%s…", syntax.Line, syntax.What, c.line, c.says)
			}
		})
	}
}

func TestReadPassesOnTheReadersError(t *testing.T) {
	t.Parallel()
	broken := errors.New("disk gone")
	r := io.MultiReader(strings.NewReader("p min 2 1\n"), iotest.ErrReader(broken))
	if _, err := dimacs.Read(r); !errors.Is(err, broken) {
		t.Errorf("error %v; want %v", err, broken)
	}
	if _, err := dimacs.Read(strings.NewReader("\x1f\x8bnot gzip")); err == nil {
		t.Error("a broken gzip header was accepted")
	}
}

// brokenWriter fails at once.
type brokenWriter struct{ err error }

func (w brokenWriter) Write([]byte) (int, error) { return 0, w.err }

func TestWritePassesOnTheWritersError(t *testing.T) {
	t.Parallel()
	broken := errors.New("pipe closed")
	if err := dimacs.Write(brokenWriter{broken}, sampleProblem(), flow.Result{Flow: make([]int64, 5)}); !errors.Is(err, broken) {
		t.Errorf("error %v; want %v", err, broken)
	}
}

// FuzzRead: whatever the bytes, Read either refuses with a SyntaxError or gives
// a problem that survives being written out and read again.
func FuzzRead(f *testing.F) {
	for _, seed := range []string{
		sample,
		"p min 2 3\na 1 2 0 -1 0\na 1 2 3 9 -7\na 2 2 0 0 9223372036854775807\n",
		"p min 1 0\n",
		"c\r\np  min\t3 1\r\nn 2 -9\r\na 3 3 0 0 0",
		"p min 2 1\nn 1 5\nn 1 5\n",
		"a 1 2 3 4 5\n",
		"p min 16777217 0\n",
		"p min 2 1073741824\na 1 2 0 1 99999999999999999999\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if bytes.HasPrefix(text, []byte{0x1f, 0x8b}) {
			return // the fuzzer need not learn gzip
		}
		p, err := dimacs.Read(bytes.NewReader(text))
		var syntax *dimacs.SyntaxError
		if err != nil {
			if !errors.As(err, &syntax) {
				t.Fatalf("error %v; want a SyntaxError", err)
			}
			return
		}
		again, err := dimacs.Read(strings.NewReader(spell(p)))
		if err != nil {
			t.Fatalf("written out, it is refused: %v", err)
		}
		if d := cmp.Diff(p, again); d != "" {
			t.Errorf("written out and read again (-first +second):\n%s", d)
		}
	})
}
