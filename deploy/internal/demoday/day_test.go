package demoday

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/importer"
	"breakshare.example/deploy/internal/suitetest"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

const demoCoop = "../../../testdata/coop"

// runDay imports a folder into a real suite and runs its day.
func runDay(t *testing.T, folder *coopfiles.Folder) (*Summary, string) {
	t.Helper()
	plan, err := NewPlan(folder, "")
	if err != nil {
		t.Fatal(err)
	}
	clk := NewClock(plan.Afternoon())
	stack := suitetest.Start(t, clk)
	clients, err := importer.Connect(stack.Dial)
	if err != nil {
		t.Fatal(err)
	}
	ctx := testkit.Context(t, identity.Identity{CoopID: folder.Coop.CoopID, Role: identity.Coordinator, Name: "Test"})
	picks := plan.HoldBack(folder)
	if _, err := (importer.Importer{Clients: clients}).Import(ctx, folder); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	day := &Day{Clients: clients, Plan: plan, Clock: clk, Files: folder, Picks: picks, Out: &out}
	summary, err := day.Run(ctx)
	if err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	return summary, out.String()
}

// TestDayOfTheDemoCoop runs the whole day and looks whether its figures agree with each other
// and with what a reader is promised to see.
func TestDayOfTheDemoCoop(t *testing.T) {
	t.Parallel()
	folder, err := coopfiles.Read(demoCoop)
	if err != nil {
		t.Fatal(err)
	}
	s, out := runDay(t, folder)
	if s.Day != "2026-11-26" {
		t.Errorf("the day is %s", s.Day)
	}
	checkFigures(t, s)
	checkOldestFirst(t, s, coldStore(t))
	if s.Trace.Pack == "" || s.Trace.PickLot == "" || s.Trace.Crop == "" || s.Trace.Room == "" || s.Trace.CompostLot == "" || s.Trace.Yard == "" {
		t.Errorf("the trace has holes: %+v", s.Trace)
	}
	if !strings.HasPrefix(s.Trace.PickLot, s.Trace.Room+"-") || !strings.HasPrefix(s.Trace.Crop, s.Trace.Room+"-") {
		t.Errorf("the trace does not hang together: %+v", s.Trace)
	}
	reasons := make(map[string]bool)
	for _, l := range s.Lines {
		reasons[l.Reason] = true
	}
	for _, want := range []string{"", "not_offered", "higher_class", "same_class", "not_fit"} {
		if !reasons[want] {
			t.Errorf("no line has the reason %q", want)
		}
	}
	for _, want := range []string{"Compost of ", "Match for Thursday 26 November 2026", "Short, and why", "Share per farm", "Pack list of ", "delivered and confirmed", "One pack traced back", "From compost lot "} {
		if !strings.Contains(out, want) {
			t.Errorf("the tables do not say %q", want)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if utf8.RuneCountInString(line) > width {
			t.Errorf("wider than %d: %q", width, line)
		}
	}
	checkJSON(t, s)
}

// checkFigures sees that products, lines, farms and packs tell of the same match.
func checkFigures(t *testing.T, s *Summary) {
	t.Helper()
	var byProduct, byLine, byFarm, byPack, ordered int64
	given := make(map[string]int64)
	for _, p := range s.Packs {
		given[p.Product] += p.Packs
	}
	for _, p := range s.Products {
		byProduct += p.Matched
		ordered += p.Ordered
		if p.Offered != given[p.Product]+p.Left || p.Matched > p.Ordered {
			t.Errorf("product %+v does not add up", p)
		}
	}
	for _, l := range s.Lines {
		byLine += l.Matched
		if short := l.Matched < l.Ordered; short != (l.Reason != "") {
			t.Errorf("line %+v has the wrong reason", l)
		}
	}
	for _, f := range s.Farms {
		byFarm += f.Matched
	}
	for _, p := range s.Packs {
		byPack += p.Packs
	}
	if byProduct != byLine || byProduct != byFarm || byProduct != byPack {
		t.Errorf("matched packs: %d by product, %d by line, %d by farm, %d packed", byProduct, byLine, byFarm, byPack)
	}
	if share := byProduct * 100 / ordered; share < 85 || share > 97 {
		t.Errorf("%d %% is matched, want 85 to 97", share)
	}
}

// coldStore is the packs of each product that the day before left in the cold store, reckoned
// from the files.
func coldStore(t *testing.T) map[string]int64 {
	t.Helper()
	folder, err := coopfiles.Read(demoCoop)
	if err != nil {
		t.Fatal(err)
	}
	grams := make(map[string]int64)
	for _, p := range folder.Products {
		grams[p.ProductID] = p.PackGrams
	}
	lots := make(map[coopfiles.Pick]int64)
	for _, p := range folder.Picks {
		if p.Date == "2026-11-25" {
			lots[coopfiles.Pick{RoomID: p.RoomID, ProductID: p.ProductID}] += p.GrossGrams - p.TareGrams
		}
	}
	packs := make(map[string]int64)
	for lot, net := range lots {
		packs[lot.ProductID] += net / grams[lot.ProductID]
	}
	if len(packs) == 0 {
		t.Error("the cold store of the demonstration co-op is empty")
	}
	return packs
}

// checkOldestFirst sees that what stood in the cold store goes before what is fresh.
func checkOldestFirst(t *testing.T, s *Summary, stored map[string]int64) {
	t.Helper()
	older := make(map[string]int64)
	for _, p := range s.Packs {
		if !strings.HasSuffix(p.PickLot, "20261126") {
			older[p.Product] += p.Packs
		}
	}
	for _, p := range s.Products {
		if want := min(stored[p.Product], p.Offered-p.Left); older[p.Product] != want {
			t.Errorf("%s: %d packs from the cold store, want %d", p.Product, older[p.Product], want)
		}
	}
}

// checkJSON sees that the summary has the promised fields and that nothing is null.
func checkJSON(t *testing.T, s *Summary) {
	t.Helper()
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(text, []byte("null")) {
		t.Error("the summary has a null")
	}
	var back map[string]any
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	for list, fields := range map[string][]string{
		"products": {"product", "offered", "ordered", "matched", "left"},
		"lines":    {"order", "customer", "product", "ordered", "matched", "reason"},
		"farms":    {"farm", "offered", "matched"},
		"packs":    {"farm", "customer", "product", "packs", "pick_lot"},
	} {
		first := back[list].([]any)[0].(map[string]any)
		if len(first) != len(fields) {
			t.Errorf("%s has %v, want %v", list, first, fields)
		}
		for _, f := range fields {
			if _, there := first[f]; !there {
				t.Errorf("%s has no %s", list, f)
			}
		}
	}
}

// TestDayWithoutPicks runs a co-op whose files have only what a co-op has on the afternoon:
// the day ends with the pack lists, and the trace starts from a pick lot. A kitchen takes one
// product in place of another, which is told beside the match and on the pack list.
func TestDayWithoutPicks(t *testing.T) {
	t.Parallel()
	folder, err := coopfiles.Read(demoCoop)
	if err != nil {
		t.Fatal(err)
	}
	folder.Readings, folder.Slots, folder.CompostRequests = nil, nil, nil
	folder.Lots, folder.LotMarks, folder.Releases, folder.Deliveries, folder.Picks = nil, nil, nil, nil, nil
	folder.Substitutes = []coopfiles.Substitute{
		{CustomerID: "mulberry-court", ProductID: "brown-closed-1500g", InsteadProductID: "brown-veiled-1500g", ReluctanceMinor: 80},
		{CustomerID: "harbour-light-hotel", ProductID: "brown-closed-1500g", InsteadProductID: "brown-veiled-1500g", ReluctanceMinor: 80},
	}
	s, out := runDay(t, folder)
	for _, want := range []string{"Given in place of what was ordered", " in place of Brown closed cups"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not told:\n%s", want, out)
		}
	}
	if s.Trace.Pack != "" || s.Trace.PickLot == "" || s.Trace.Room == "" || s.Trace.CompostLot != "" {
		t.Errorf("trace %+v", s.Trace)
	}
	if len(s.Packs) == 0 || !strings.Contains(out, "nothing is weighed in") {
		t.Errorf("%d packs on the lists; told:\n%s", len(s.Packs), out)
	}
}
