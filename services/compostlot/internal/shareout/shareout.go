package shareout

import (
	"fmt"
	"slices"
)

// ShareOut shares a round out. It returns *InvalidError for a round that
// cannot be, and *TooLargeError where exact arithmetic would not fit.
func ShareOut(in Round) (*Result, error) {
	t, err := newTable(in)
	if err != nil {
		return nil, fmt.Errorf("share out: %w", err)
	}
	p, bound := t.search()
	return t.result(p, bound), nil
}

// WhatIf shares the round out anew with one request's acceptable slots
// replaced by a window, and returns that request's answer: what it would get
// by widening. Errors are those of ShareOut, and *UnknownRequestError.
func WhatIf(in Round, requestID string, w Window) (*Answer, error) {
	at := slices.IndexFunc(in.Requests, func(r Request) bool { return r.ID == requestID })
	if at < 0 {
		return nil, &UnknownRequestError{ID: requestID}
	}
	in.Requests = slices.Clone(in.Requests)
	in.Requests[at].SlotIDs, in.Requests[at].Window = nil, w
	out, err := ShareOut(in)
	if err != nil {
		return nil, err
	}
	at = slices.IndexFunc(out.Answers, func(a Answer) bool { return a.RequestID == requestID })
	return &out.Answers[at], nil
}

func (t *table) result(p *plan, bound Bound) *Result {
	out := &Result{GrantedKg: p.total, HaulCents: (p.haul + 500) / 1000, Bound: bound}
	for _, f := range t.farms {
		out.Farms = append(out.Farms, FarmShare{Farm: f.id, Weight: f.weight, AskedKg: f.asked})
	}
	left := t.leftOver(p)
	for s, kg := range left {
		out.Left = append(out.Left, Left{SlotID: t.slots[s].ID, Kg: kg})
	}
	for r := range t.requests {
		a := t.answer(r, p, left)
		out.Farms[t.farmOf[r]].GrantedKg += a.GrantedKg
		out.Answers = append(out.Answers, a)
	}
	return out
}
