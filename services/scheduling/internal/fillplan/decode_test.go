package fillplan

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// sample is a well-formed instance: one farm, two rooms, three weeks.
const sample = `{
 "format": "fillplan-1", "name": "sample", "weeks": 3,
 "products": [{"id": "white", "short": 200, "over": 50}],
 "programmes": [{"id": "bulk", "occ": 2, "compost": 90, "cost": 101, "yield": [[0], [7000]]}],
 "farms": ["north"],
 "rooms": [{"id": "N1", "farm": 0, "area": 100, "programmes": [0], "free": 0},
           {"id": "N2", "farm": 0, "area": 200, "programmes": [0], "free": 1}],
 "cap": [9000, 20000, 0],
 "supply": [[1000, 0, 0]],
 "demand": [[500000, 600000, 700000]],
 "meta": {"seed": [1, null]}
}`

func decodeSample(t testing.TB) *Instance {
	t.Helper()
	in, err := Decode(strings.NewReader(sample))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func TestDecode(t *testing.T) {
	t.Parallel()
	want := &Instance{
		Name: "sample", Weeks: 3,
		Products:   []Product{{ID: "white", ShortCents: 200, OverCents: 50}},
		Programmes: []Programme{{ID: "bulk", Weeks: 2, CompostKg: 90, CostCents: 101, YieldGrams: [][]int64{{0}, {7000}}}},
		Farms:      []string{"north"},
		Rooms: []Room{
			{ID: "N1", Area: 100, Programmes: []int{0}},
			{ID: "N2", Area: 200, Programmes: []int{0}, Free: 1},
		},
		YardKg:      []int64{9000, 20000, 0},
		SupplyGrams: [][]int64{{1000, 0, 0}},
		DemandGrams: [][]int64{{500000, 600000, 700000}},
	}
	if diff := cmp.Diff(want, decodeSample(t)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestDecodeRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, old, new, path, reason string }{
		{"not JSON", sample, "fill", "", "JSON object"},
		{"empty", sample, "", "", "ends too early"},
		{"a list", sample, "[]", "", "JSON object"},
		{"cut short", `"meta": {"seed": [1, null]}` + "\n}", `"meta"`, "", "ends too early"},
		{"text after", "\n}", "\n} {}", "", "closing brace"},
		{"field twice", `"weeks": 3,`, `"weeks": 3, "weeks": 4,`, "", `"weeks" twice`},
		{"other format", "fillplan-1", "fillplan-2", "format", `"fillplan-1"`},
		{"no format", `"format": "fillplan-1", `, "", "format", "missing"},
		{"key in capitals", `"weeks"`, `"Weeks"`, "weeks", "missing"},
		{"name a number", `"sample"`, "7", "name", "text"},
		{"empty name", `"sample"`, `""`, "name", "empty"},
		{"weeks null", `"weeks": 3`, `"weeks": null`, "weeks", "missing"},
		{"no weeks", `"weeks": 3`, `"weeks": 0`, "weeks", "1 to 520"},
		{"weeks a fraction", `"weeks": 3`, `"weeks": 3.5`, "weeks", "whole number"},
		{"weeks out of range", `"weeks": 3`, `"weeks": 4000000000`, "weeks", "out of range"},
		{"products an object", `"products": [{"id": "white", "short": 200, "over": 50}]`, `"products": {}`, "products", "list"},
		{"product a number", `{"id": "white", "short": 200, "over": 50}`, `1`, "products[0]", "JSON object"},
		{"price below zero", `"short": 200`, `"short": -1`, "products[0].short", "at least 0"},
		{"surplus below zero", `"over": 50`, `"over": -1`, "products[0].over", "at least 0"},
		{"price as text", `"over": 50`, `"over": "50"`, "products[0].over", "whole number"},
		{"no occupation", `"occ": 2`, `"occ": 0`, "programmes[0].occ", "1 to 520"},
		{"compost below zero", `"compost": 90`, `"compost": -90`, "programmes[0].compost", "at least 0"},
		{"cost below zero", `"cost": 101`, `"cost": -1`, "programmes[0].cost", "at least 0"},
		{"cost beyond 64 bits", `"cost": 101`, `"cost": 9223372036854775808`, "programmes[0].cost", "64 bits"},
		{"a yield row short", `[[0], [7000]]`, `[[0]]`, "programmes[0].yield", "2 weeks of occ"},
		{"a yield row wide", `[[0], [7000]]`, `[[0], [7000, 1]]`, "programmes[0].yield[1]", "1 numbers"},
		{"a yield below zero", `[7000]`, `[-7000]`, "programmes[0].yield[1][0]", "at least 0"},
		{"a yield null", `[7000]`, `[null]`, "programmes[0].yield[1][0]", "missing"},
		{"farm a number", `["north"]`, `[1]`, "farms[0]", "text"},
		{"no such farm", `"farm": 0, "area": 200`, `"farm": 1, "area": 200`, "rooms[1].farm", "1 farms"},
		{"no area", `"area": 200`, `"area": 0`, "rooms[1].area", "at least 1"},
		{"free before the start", `"free": 1`, `"free": -1`, "rooms[1].free", "week 0"},
		{"no free week", `, "free": 1`, ``, "rooms[1].free", "missing"},
		{"no such programme", `"programmes": [0], "free": 1`, `"programmes": [1], "free": 1`, "rooms[1].programmes[0]", "1 programmes"},
		{"programme twice", `"programmes": [0], "free": 1`, `"programmes": [0, 0], "free": 1`, "rooms[1].programmes[1]", "ascending"},
		{"capacity missing", `"cap": [9000, 20000, 0],`, ``, "cap", "missing"},
		{"capacity short", `[9000, 20000, 0]`, `[9000]`, "cap", "3 numbers"},
		{"capacity below zero", `20000`, `-20000`, "cap[1]", "at least 0"},
		{"capacity not numbers", `[9000, 20000, 0]`, `[9000, true, 0]`, "cap[1]", "whole number"},
		{"supply of one product more", `[[1000, 0, 0]]`, `[[1000, 0, 0], [0, 0, 0]]`, "supply", "1 products"},
		{"supply short", `[[1000, 0, 0]]`, `[[1000, 0]]`, "supply[0]", "3 numbers"},
		{"demand below zero", `600000`, `-600000`, "demand[0][1]", "at least 0"},
		{"numbers too large", `600000`, `6000000000000000000`, "", "too large"},
		{"area too large", `"area": 200`, `"area": 9000000000000000000`, "", "too large"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if !strings.Contains(sample, c.old) {
				t.Fatalf("the sample has no %s", c.old)
			}
			_, err := Decode(strings.NewReader(strings.Replace(sample, c.old, c.new, 1)))
			var wrong *InstanceError
			if !errors.As(err, &wrong) {
				t.Fatalf("got %v, want an *InstanceError", err)
			}
			if wrong.Path != c.path || !strings.Contains(wrong.Reason, c.reason) {
				t.Errorf("got path %q, %q; want path %q and %q", wrong.Path, wrong.Reason, c.path, c.reason)
			}
			if !strings.Contains(wrong.Error(), wrong.Path) {
				t.Errorf("message %q does not name %q", wrong, wrong.Path)
			}
		})
	}
}

func TestDecodeReportsReadErrors(t *testing.T) {
	t.Parallel()
	if _, err := Decode(iotest.ErrReader(io.ErrClosedPipe)); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("got %v, want the reader's error", err)
	}
}

func TestValidateRefusesSizes(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	in.Rooms = make([]Room, maxRooms+1)
	var wrong *InstanceError
	if err := in.Validate(); !errors.As(err, &wrong) || wrong.Path != "rooms" {
		t.Errorf("too many rooms: %v", err)
	}
}

// FuzzDecode looks for input that makes Decode fail in any way but by an
// *InstanceError, or accept what Validate refuses.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(sample))
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "..", "testdata", "fillplan", "tiny-*.json"))
	if err != nil || len(files) == 0 {
		f.Fatalf("no instances: %v", err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(strings.Replace(sample, "7000", "1e3", 1)))
	f.Add([]byte(strings.Replace(sample, "[9000, 20000, 0]", "[[],{}]", 1)))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := Decode(strings.NewReader(string(data)))
		var wrong *InstanceError
		switch {
		case err != nil && !errors.As(err, &wrong):
			t.Fatalf("got %v, want an *InstanceError", err)
		case err == nil && in.Validate() != nil:
			t.Fatal("accepted an instance that is not valid")
		case err == nil && in.Weeks*len(in.Rooms) < 10_000:
			if c := Evaluate(in, nil); c.M() < 0 {
				t.Fatalf("cost %d below 0", c.M())
			}
		}
	})
}
