package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"testing"
	"time"
)

const committed = "../../testdata/coop"

// TestFilesAreFresh sees that the committed files are what the program writes.
func TestFilesAreFresh(t *testing.T) {
	t.Parallel()
	for name, want := range build() {
		got, err := os.ReadFile(filepath.Join(committed, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if !bytes.Equal(got, want.bytes()) {
			t.Errorf("%s is not what the program writes: run go run ./scripts/democoop testdata/coop", name)
		}
	}
}

// TestDayIsLively sees that the demonstration day has shortages, stock left over and older
// stock, and that most of what is ordered can be had.
func TestDayIsLively(t *testing.T) {
	t.Parallel()
	files := build()
	ordered := make(map[string]int)
	for _, o := range files["orders.csv"].rows[1:] {
		if o[2] == date(day) {
			ordered[o[3]] += number(t, o[4])
		}
	}
	offered := offer(t, files)
	short, over, all, had := 0, 0, 0, 0
	for _, p := range products {
		want, have := ordered[p.id], offered[p.id]
		all, had = all+want, had+min(want, have)
		if want > have {
			short++
		}
		if have > want {
			over++
		}
	}
	if short < 3 || over < 3 {
		t.Errorf("%d products are short and %d left over, want 3 or more of each", short, over)
	}
	if share := had * 100 / all; share < 90 || share > 97 {
		t.Errorf("%d %% of what is ordered can be had, want 90 to 97", share)
	}
}

// offer is the packs that the day has by product, reckoned from the written files.
func offer(t *testing.T, files map[string]*file) map[string]int {
	t.Helper()
	packs := make(map[string]int)
	for _, e := range files["expected_picks.csv"].rows[1:] {
		if e[2] == date(day) {
			packs[e[1]] += number(t, e[4]) / productOf(e[1]).grams
		}
	}
	older := make(map[[3]string]int)
	for _, p := range files["picks.csv"].rows[1:] {
		if p[2] < date(day) {
			older[[3]string{p[0], p[1], p[2]}] += number(t, p[3]) - number(t, p[4])
		}
	}
	if len(older) == 0 {
		t.Error("nothing of earlier days is in the cold store")
	}
	for lot, grams := range older {
		picked, err := time.Parse(time.DateOnly, lot[2])
		if err != nil {
			t.Fatal(err)
		}
		if p := productOf(lot[1]); !after(picked, p.shelfDays).Before(day) {
			packs[p.id] += grams / p.grams
		}
	}
	return packs
}

func TestNothingIsRecordedBeforeItHappened(t *testing.T) {
	t.Parallel()
	files := build()
	for name, column := range map[string]int{"readings.csv": 3, "lot_marks.csv": 2} {
		for i, row := range files[name].rows[1:] {
			at, err := time.Parse(time.RFC3339, row[column])
			if err != nil || at.After(now) {
				t.Errorf("%s line %d: %s is no instant before %s", name, i+2, row[column], now)
			}
		}
	}
	for i, row := range files["stages.csv"].rows[1:] {
		if row[2] > date(now) {
			t.Errorf("stages.csv line %d: %s is to come", i+2, row[2])
		}
	}
}

func TestSpreadAddsUp(t *testing.T) {
	t.Parallel()
	for packs := range 60 {
		sum := 0
		for _, share := range spread(packs, []int{0, 3, 7, 11}) {
			sum += share
		}
		if sum != packs {
			t.Errorf("%d packs were spread into %d", packs, sum)
		}
	}
}

func TestFileQuotes(t *testing.T) {
	t.Parallel()
	f := newFile("a,b")
	f.add(`x, "y"`, 3)
	got, err := csv.NewReader(bytes.NewReader(f.bytes())).ReadAll()
	if err != nil || got[1][0] != `x, "y"` || got[1][1] != "3" {
		t.Errorf("got %q, %v", got, err)
	}
}

func number(t *testing.T, text string) int {
	t.Helper()
	n := 0
	for _, r := range text {
		if r < '0' || r > '9' {
			t.Fatalf("%q is no whole number", text)
		}
		n = n*10 + int(r-'0')
	}
	return n
}
