package shareout

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

var instances = flag.String("instances", "", "folder into which the rounds solved by linear programming are written")

// solved is a round as HiGHS, a solver of linear programmes, shares it out; made by
// scripts/lpfixture.
type solved struct {
	Instance string             `json:"instance_sha256"`
	Granted  map[string]float64 `json:"granted_kg"`
	Haul     float64            `json:"haul_minor"`
}

// written is a round for the solver: what a request may have from which slot, and no more.
func written(t *testing.T, in Round) []byte {
	t.Helper()
	type request struct {
		Farm   string  `json:"farm"`
		Weight int64   `json:"weight"`
		Asked  int64   `json:"asked"`
		Slots  []int   `json:"slots"`
		Haul   []int64 `json:"haul"` // of a tonne
	}
	var out struct {
		Slots    []int64   `json:"slots"`
		Requests []request `json:"requests"`
	}
	for _, s := range in.Slots {
		out.Slots = append(out.Slots, s.CapacityKg)
	}
	for _, r := range in.Requests {
		q := request{Farm: strings.TrimPrefix(r.Farm, "F"), Weight: r.Weight, Asked: r.AskedKg, Slots: []int{}, Haul: []int64{}}
		for i, s := range in.Slots {
			day := !s.Date.Before(r.Window.From) && !s.Date.After(r.Window.To)
			if day && (len(r.Window.Phases) == 0 || s.Phase == r.Window.Phases[0]) {
				q.Slots, q.Haul = append(q.Slots, i), append(q.Haul, r.HaulCents[s.ID])
			}
		}
		out.Requests = append(out.Requests, q)
	}
	text, err := json.Marshal(out)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// At the size of a busy spring, 500 requests over 60 slots: every farm gets what linear
// programming gives it, to the kilogram, and the haul costs no more than a thousandth above
// the cheapest.
func TestLargeRoundsAgreeWithHiGHS(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("testdata", "highs.json"))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]solved{}
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	for _, farms := range []int{40, 500} {
		name := "farms-" + strconv.Itoa(farms)
		in := bigRound(500, 60, farms, false)
		text := written(t, in)
		if *instances != "" {
			if err := os.WriteFile(filepath.Join(*instances, name+".json"), text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		lp := want[name]
		if sum := sha256.Sum256(text); hex.EncodeToString(sum[:]) != lp.Instance {
			t.Errorf("%s: the round is not the one that was solved: run scripts/lpfixture again", name)
			continue
		}
		began := time.Now()
		got, err := ShareOut(in)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: shared out in %v", name, time.Since(began))
		granted, haul := map[string]int64{}, int64(0)
		for _, a := range got.Answers {
			granted[strings.TrimPrefix(a.Farm, "F")] += a.GrantedKg
		}
		for i, a := range got.Answers {
			for _, g := range a.Grants {
				haul += g.Kg * requestOf(t, in, got.Answers[i].RequestID).HaulCents[g.SlotID]
			}
		}
		for farm, kg := range lp.Granted {
			if math.Abs(float64(granted[farm])-kg) > 1 {
				t.Errorf("%s: farm %s gets %d kg, linear programming gives %.3f", name, farm, granted[farm], kg)
			}
		}
		if len(granted) != len(lp.Granted) || math.Abs(float64(haul)/1000-lp.Haul) > lp.Haul/1000 {
			t.Errorf("%s: %d farms, haul of %d, linear programming has %d and %.1f", name, len(granted), haul/1000, len(lp.Granted), lp.Haul)
		}
	}
}

func requestOf(t *testing.T, in Round, id string) Request {
	t.Helper()
	for _, r := range in.Requests {
		if r.ID == id {
			return r
		}
	}
	t.Fatalf("no request %s", id)
	return Request{}
}
