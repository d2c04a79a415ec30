package shareout

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

func pair() Round {
	return Round{
		Slots: []Slot{
			{ID: "early", Date: spring, Phase: 2, CapacityKg: 10_000, SmallestLotKg: 1000},
			{ID: "late", Date: spring.AddDate(0, 0, 9), Phase: 2, CapacityKg: 8000},
			{ID: "grown", Date: spring.AddDate(0, 0, 5), Phase: 3, CapacityKg: 9000},
		},
		Requests: []Request{
			{ID: "r1", Farm: "Alder", AskedKg: 9000, Weight: 1, SlotIDs: []string{"early"}, WholeFill: true},
			{ID: "r2", Farm: "Birch", AskedKg: 6000, Weight: 1, Window: Window{From: spring, To: spring.AddDate(0, 0, 2), Phases: []int{2}}, SmallestUsefulKg: 4000},
			{ID: "r3", Farm: "Cedar", AskedKg: 500, Weight: 1, SlotIDs: []string{"early"}},
			{ID: "r4", Farm: "Dogwood", AskedKg: 700, Weight: 1, Window: Window{From: spring.AddDate(0, 1, 0), To: spring.AddDate(0, 2, 0)}},
		},
	}
}

func TestReasonsAndWidening(t *testing.T) {
	t.Parallel()
	out, err := ShareOut(pair())
	if err != nil {
		t.Fatal(err)
	}
	// Only one of the two that need much fits; Birch with 6000 of 6000 or
	// Alder with 9000 of 9000 leave the same levels, so the answer to check is
	// that exactly one is served and the other told why and what else.
	alder, birch := out.Answers[0], out.Answers[1]
	served, refused := alder, birch
	if birch.GrantedKg > 0 {
		served, refused = birch, alder
	}
	if served.Reason != InFull || refused.GrantedKg != 0 || refused.Reason != SmallestAmount {
		t.Errorf("served %+v, refused %+v", served, refused)
	}
	if served.SatisfiedShare() != 1 || refused.SatisfiedShare() != 0 {
		t.Errorf("shares %v and %v", served.SatisfiedShare(), refused.SatisfiedShare())
	}
	if refused.Farm == "Birch" && (len(refused.Wider) != 1 || refused.Wider[0] != (Grant{"late", 6000})) {
		t.Errorf("wider: %+v, want 6000 kg from the late slot and nothing of another phase", refused.Wider)
	}
	if cedar := out.Answers[2]; cedar.Reason != SmallestAmount || !strings.Contains(cedar.Sentence, "smallest lot") {
		t.Errorf("500 kg from a slot whose smallest lot is 1000 kg: %+v", cedar)
	}
	if dogwood := out.Answers[3]; dogwood.Reason != NoSlotInWindow || len(dogwood.Wider) == 0 {
		t.Errorf("no slot in the window: %+v", dogwood)
	}
}

func TestWhatIf(t *testing.T) {
	t.Parallel()
	wide := Window{From: spring, To: spring.AddDate(0, 0, 20), Phases: []int{2}}
	a, err := WhatIf(pair(), "r2", wide)
	if err != nil || a.GrantedKg != 6000 || a.Reason != InFull {
		t.Errorf("%+v, %v: a window to the late slot serves r2 in full", a, err)
	}
	var unknown *UnknownRequestError
	if _, err := WhatIf(pair(), "r9", wide); !errors.As(err, &unknown) || unknown.ID != "r9" {
		t.Errorf("unknown request: %v", err)
	}
	var bad *InvalidError
	if _, err := WhatIf(pair(), "r2", Window{From: spring, To: spring.AddDate(0, 0, -1)}); !errors.As(err, &bad) {
		t.Errorf("window that ends before it starts: %v", err)
	}
}

func TestBadRoundsAreRefused(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*Round){
		"two slots of one id":      func(r *Round) { r.Slots[1].ID = "early" },
		"slot without id":          func(r *Round) { r.Slots[1].ID = "" },
		"negative capacity":        func(r *Round) { r.Slots[0].CapacityKg = -1 },
		"negative smallest lot":    func(r *Round) { r.Slots[0].SmallestLotKg = -1 },
		"phase 4":                  func(r *Round) { r.Slots[0].Phase = 4 },
		"two requests of one id":   func(r *Round) { r.Requests[1].ID = "r1" },
		"request without farm":     func(r *Round) { r.Requests[0].Farm = "" },
		"nothing asked":            func(r *Round) { r.Requests[0].AskedKg = 0 },
		"weight 0":                 func(r *Round) { r.Requests[0].Weight = 0 },
		"useful above asked":       func(r *Round) { r.Requests[1].SmallestUsefulKg = 6001 },
		"unknown slot":             func(r *Round) { r.Requests[0].SlotIDs = []string{"never"} },
		"window upside down":       func(r *Round) { r.Requests[1].Window.To = spring.Add(-48 * time.Hour) },
		"negative haul":            func(r *Round) { r.Requests[0].HaulCents = map[string]int64{"early": -1} },
		"two weights for one farm": func(r *Round) { r.Requests[1].Farm, r.Requests[1].Weight = "Alder", 2 },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := pair()
			spoil(&in)
			_, err := ShareOut(in)
			var bad *InvalidError
			if !errors.As(err, &bad) || bad.Where == "" || bad.Problem == "" {
				t.Errorf("got %v, want an error that says what and where", err)
			}
		})
	}
	in := pair()
	in.Requests[0].AskedKg, in.Requests[1].AskedKg = math.MaxInt64/2, math.MaxInt64
	var large *TooLargeError
	if _, err := ShareOut(in); !errors.As(err, &large) {
		t.Errorf("masses beyond arithmetic: %v", err)
	}
}

func TestEmptyRound(t *testing.T) {
	t.Parallel()
	out, err := ShareOut(Round{})
	if err != nil || out.GrantedKg != 0 || !out.Bound.Exact {
		t.Errorf("%+v, %v", out, err)
	}
}
