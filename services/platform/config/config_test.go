package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/platform/config"
)

type section struct {
	Address  string          `json:"address"`
	MaxConns int             `json:"max_conns"`
	Patience config.Duration `json:"patience"`
}

func (s section) check(r *config.Report) {
	if s.MaxConns < 1 {
		r.Add("max_conns", "is not above 0", "give at least 1")
	}
	if s.Address == "" {
		r.Add("address", "is missing", "give host:port")
	}
}

type settings struct {
	Log     string  `json:"log"`
	Harvest section `json:"harvest"`
	Order   section `json:"order"`
}

func (s *settings) Check(r *config.Report) {
	if s.Log == "" {
		r.Add("log", "is missing", "write json or text")
	}
	s.Harvest.check(r.Section("harvest"))
	s.Order.check(r.Section("order"))
}

func defaults() *settings {
	d := section{Address: "127.0.0.1:0", MaxConns: 4, Patience: config.Duration(time.Second)}
	return &settings{Log: "json", Harvest: d, Order: d}
}

func TestWhatIsLeftOutKeepsItsDefault(t *testing.T) {
	t.Parallel()
	got := defaults()
	file := filepath.Join(t.TempDir(), "breakshare.json")
	if err := os.WriteFile(file, []byte(`{"harvest": {"patience": "1m30s", "max_conns": 9}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := config.Load(file, got); err != nil {
		t.Fatal(err)
	}
	want := defaults()
	want.Harvest.MaxConns, want.Harvest.Patience = 9, config.Duration(90*time.Second)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestRefusesWithLineAndColumn(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, data   string
		line, column int
		path, text   string
	}{
		{"unknown at the top", "{\n  \"colour\": 1\n}", 2, 3, "colour", "no such setting"},
		{"unknown in a section", "{\n  \"harvest\": {\n    \"adress\": \"x\"}}", 3, 5, "harvest.adress", "no such setting"},
		{"letter case counts", "{\"Log\": \"text\"}", 1, 2, "Log", "no such setting"},
		{"twice", "{\"log\": \"a\",\n \"log\": \"b\"}", 2, 2, "log", "twice"},
		{"wrong type", "{\"harvest\":\n {\"max_conns\": \"9\"}}", 2, 16, "harvest.max_conns", "string"},
		{"not a duration", "{\"harvest\":\n {\"patience\": \"soon\"}}", 2, 15, "harvest.patience", "24h"},
		{"cut off", "{\"log\": \"text\"", 1, 15, "", "not JSON"},
		{"two values", "{}\n{}", 2, 1, "", "not JSON"},
		{"empty", "", 1, 1, "", "not JSON"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			err := config.Decode("f.json", []byte(tc.data), defaults())
			var e *config.SyntaxError
			if !errors.As(err, &e) {
				t.Fatalf("error %v, want a SyntaxError", err)
			}
			if e.Line != tc.line || e.Column != tc.column || e.Path != tc.path || !strings.Contains(e.Problem, tc.text) {
				t.Errorf("got %v, want %d:%d %s with %q", e, tc.line, tc.column, tc.path, tc.text)
			}
			if !strings.HasPrefix(e.Error(), "f.json:") {
				t.Errorf("%v does not begin with the file", e)
			}
		})
	}
}

func TestProblemsAreAllNamed(t *testing.T) {
	t.Parallel()
	err := config.Decode("f.json", []byte(`{"harvest": {"max_conns": 0}, "order": {"address": "", "max_conns": -1}}`), defaults())
	var got config.Problems
	if !errors.As(err, &got) {
		t.Fatalf("error %v, want Problems", err)
	}
	var paths []string
	for _, p := range got {
		paths = append(paths, p.Path)
	}
	if diff := cmp.Diff([]string{"harvest.max_conns", "order.max_conns", "order.address"}, paths); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if want := "f.json: harvest.max_conns is not above 0: give at least 1\n"; !strings.HasPrefix(err.Error(), want) {
		t.Errorf("error %q, want it to begin %q", err, want)
	}
}

func TestMissingFileIsNamed(t *testing.T) {
	t.Parallel()
	err := config.Load(filepath.Join(t.TempDir(), "none.json"), defaults())
	if !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "none.json") {
		t.Errorf("error %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	for _, s := range []string{`{}`, `{"log": 1}`, "{\n\"x\":\n", `{"harvest":{"patience":"\u0000"}}`, "\xff"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		err := config.Decode("f", data, defaults())
		var e *config.SyntaxError
		if !errors.As(err, &e) {
			return
		}
		lines := strings.Split(string(data), "\n")
		if e.Line < 1 || e.Line > len(lines) || e.Column < 1 || e.Column > len(lines[e.Line-1])+1 {
			t.Fatalf("%v points outside the data", e)
		}
	})
}
