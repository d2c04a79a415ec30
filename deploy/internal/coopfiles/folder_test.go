package coopfiles

import (
	"strings"
	"testing"
)

func TestDemoCoopIsWhole(t *testing.T) {
	t.Parallel()
	f, err := Read(demoCoop)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.CheckReferences(nil); err != nil {
		t.Fatal(err)
	}
	for _, table := range Tables() {
		if !f.Has(table.File) {
			t.Errorf("the demonstration co-op has no %s", table.File)
		}
	}
	for what, got := range map[string][2]int{
		"farms": {len(f.Farms), 6}, "rooms": {len(f.Rooms), 22}, "yards": {len(f.Yards), 2},
		"customers": {len(f.Customers), 26}, "products": {len(f.Products), 12},
	} {
		if got[0] != got[1] {
			t.Errorf("got %d %s, want %d", got[0], what, got[1])
		}
	}
}

func TestCheckReferencesNamesLineAndColumn(t *testing.T) {
	t.Parallel()
	rooms := "room_id,farm_id,name,area_m2,growing_system\n" +
		"r1,alder,R1,10,bags\nr2,elder,R2,10,bags\nr3,elder,R3,10,bags\nr4,birch,R4,10,bags\n"
	dir := folder(t, map[string]string{"rooms.csv": rooms, "farms.csv": farmHeader + "alder,A,,1,1\n"})
	f, err := Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	got := refusals(t, f.CheckReferences(Known{"farms.csv": {"birch": true}}))
	want := `rooms.csv line 3, column farm_id: unknown farm_id "elder" (also on 1 lines after it), expected one of farms.csv: alder, birch`
	if len(got) != 1 || got[0] != want {
		t.Errorf("got %q\nwant %q", got, want)
	}
	if err := f.CheckReferences(Known{"farms.csv": {"birch": true, "elder": true}}); err != nil {
		t.Errorf("all farms are known, got %v", err)
	}
}

func TestCheckReferencesWithoutTheOtherFile(t *testing.T) {
	t.Parallel()
	dir := folder(t, map[string]string{"releases.csv": "lot_id,released_by,released_at,exception_reason\nl1,Una,2026-01-02T03:04:05Z,\n"})
	f, err := Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	got := refusals(t, f.CheckReferences(nil))
	if len(got) != 1 || !strings.HasSuffix(got[0], "expected one of lots.csv, which is not there") {
		t.Errorf("got %q", got)
	}
}
