package web

import (
	"net/url"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// pickedPage is what a farm weighed on a day, as it was written down.
type pickedPage struct {
	Day, Before, After string
	Farm               string // named in links; empty where the farm is the visitor's own
	Done               string
	Form               *form
	Lots               []pickedLot
}

// pickedLot is all that was weighed of one pick lot, in the order recorded.
type pickedLot struct {
	Lot, Room, Product string
	Grams, Discarded   int64
	Rows               []pickedRow
}

// pickedRow is one entry: a weighing, or one that takes an earlier one's place.
type pickedRow struct {
	ID, At, By           string
	Net, Gross, Tare     int64
	Crates               int64
	Picker, Store, Break string
	Parts                []pickedPart
	Unsorted             int64 // grams that no part tells of, where there are parts
	InPlaceOf, Reason    string
	Withdraws            bool
	Replaced             bool        // another took its place
	Correct              *correction // nil where it was not asked for
}

// pickedPart is a part of a weighing; Stage is a key.
type pickedPart struct {
	Stage, Grade string
	Grams        int64
}

// showPicked shows what the grower's farm weighed on a day, today without one.
func (p *Pages) showPicked(v *visit, f *form) (view, error) {
	farm, day, err := p.farmDay(v)
	if err != nil {
		return view{}, err
	}
	var (
		n       names
		weighed *harvestv1.ListPicksResponse
		stock   *harvestv1.GetColdStockResponse
	)
	err = together(v.ctx,
		p.naming(&n, roomNames|productNames),
		ask(&stock, p.harvest.GetColdStock, &harvestv1.GetColdStockRequest{FarmId: farm}),
		ask(&weighed, p.harvest.ListPicks, &harvestv1.ListPicksRequest{FromDate: day, ToDate: day, FarmId: farm}),
	)
	if err != nil {
		return view{}, err
	}
	page := pickedPage{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Done: v.r.URL.Query().Get("done"), Form: f}
	if v.who.FarmID == "" {
		page.Farm = farm
	}
	byLot := map[lotOf][]*harvestv1.Pick{}
	for _, e := range weighed.GetPicks() {
		of := lotOf{e.GetRoomId(), e.GetProductId()}
		byLot[of] = append(byLot[of], e)
	}
	for _, lot := range weighed.GetPickLots() {
		if entries := byLot[lotOf{lot.GetRoomId(), lot.GetProductId()}]; len(entries) > 0 {
			page.Lots = append(page.Lots, pickedLot{
				Lot: lot.GetPickLotId(), Room: nameOf(n.rooms, lot.GetRoomId()), Product: n.product(lot.GetProductId()), Grams: lot.GetNetGrams(), Discarded: lot.GetDiscardedGrams(),
				Rows: pickedRows(v, f, entries, stock.GetStores()),
			})
		}
	}
	return view{template: "picked", title: "picked.title", data: page}, nil
}

// lotOf is what makes a pick lot of a day.
type lotOf struct{ room, product string }

// pickedRows are a lot's entries. Where one was asked for that another has replaced meanwhile,
// the newest of its chain is corrected instead.
func pickedRows(v *visit, f *form, entries []*harvestv1.Pick, stores []*harvestv1.StoreState) []pickedRow {
	asked := v.r.FormValue("pick")
	replaced := map[string]bool{}
	for _, e := range entries {
		if e.GetCorrectsPickId() == "" {
			continue
		}
		replaced[e.GetCorrectsPickId()] = true
		if e.GetCorrectsPickId() == asked {
			asked = e.GetPickId()
		}
	}
	at := byID(entries, (*harvestv1.Pick).GetPickId, func(e *harvestv1.Pick) string { return v.words.Instant(e.GetRecordedAt().AsTime(), v.zone) })
	names := byID(stores, func(s *harvestv1.StoreState) string { return s.GetStore().GetStoreId() }, func(s *harvestv1.StoreState) string { return s.GetStore().GetName() })
	var rows []pickedRow
	for _, e := range entries {
		row := pickedRowOf(v, e)
		row.At, row.InPlaceOf, row.Replaced, row.Store = at[e.GetPickId()], at[e.GetCorrectsPickId()], replaced[e.GetPickId()], nameOf(names, e.GetStoreId())
		if e.GetPickId() == asked && !row.Replaced {
			row.Correct = correctionOf(v, f, e, stores)
		}
		rows = append(rows, row)
	}
	return rows
}

func pickedRowOf(v *visit, e *harvestv1.Pick) pickedRow {
	row := pickedRow{
		ID: e.GetPickId(), By: e.GetRecordedBy(), Net: e.GetGrossGrams() - e.GetTareGrams(), Gross: e.GetGrossGrams(), Tare: e.GetTareGrams(), Crates: int64(e.GetCrates()),
		Picker: e.GetPicker(), Reason: e.GetCorrectionReason(), Withdraws: e.GetGrossGrams() == 0,
	}
	if e.BreakNumber != nil {
		row.Break = v.words.T(map[bool]string{true: "picked.break_curve", false: "round.break"}[e.GetBreakProposed()], e.GetBreakNumber())
	}
	row.Unsorted = row.Net
	for _, part := range e.GetParts() {
		row.Parts = append(row.Parts, pickedPart{pickStageKey(part.GetPickStage()), part.GetGrade(), part.GetGrams()})
		row.Unsorted -= part.GetGrams()
	}
	return row
}

// correction is the form that puts a weighing right. There is one on a page at most.
type correction struct {
	ID, Room, Product, Date string
	Form                    *form
	Gross, Tare, Crates     input
	Picker, Break, Reason   input
	Split                   split
	Stores                  []roomChoice
	Withdrawn               bool // there is nothing to withdraw
}

// correctForm is the name of the form on the page.
const correctForm = "correct"

func correctionOf(v *visit, f *form, e *harvestv1.Pick, stores []*harvestv1.StoreState) *correction {
	c := &correction{ID: e.GetPickId(), Room: e.GetRoomId(), Product: e.GetProductId(), Date: e.GetDate(), Form: f.For(correctForm), Withdrawn: e.GetGrossGrams() == 0}
	var gross, tare, stated, hint string
	if !c.Withdrawn {
		gross, tare = v.words.Field(e.GetGrossGrams()), v.words.Field(e.GetTareGrams())
	}
	switch {
	case e.GetBreakProposed():
		hint = v.words.T("pick.break_curve", e.GetBreakNumber())
	case e.BreakNumber != nil:
		stated = plain(int64(e.GetBreakNumber()))
	}
	c.Gross = newInput(c.Form, correctForm, "kg", "gross_grams", v.words.T("pick.gross"), gross, v.words.MassUnit())
	c.Tare = newInput(c.Form, correctForm, "kg", "tare_grams", v.words.T("pick.tare"), tare, v.words.MassUnit())
	c.Crates = newInput(c.Form, correctForm, "whole", "crates", v.words.T("pick.crates"), wholeOr(int64(e.GetCrates())), "")
	c.Picker = newInput(c.Form, correctForm, "text", "picker", v.words.T("pick.picker"), e.GetPicker(), "")
	c.Break = newInput(c.Form, correctForm, "whole", "break_number", v.words.T("pick.break"), stated, hint)
	c.Reason = newInput(c.Form, correctForm, "text", "reason", v.words.T("picked.reason"), "", "")
	c.Split = splitOf(v, c.Form, correctForm, e.GetParts())
	for _, s := range stores {
		id := s.GetStore().GetStoreId()
		c.Stores = append(c.Stores, roomChoice{id, s.GetStore().GetName(), c.Form.Value("store_id", e.GetStoreId()) == id})
	}
	return c
}

// withdraw is the button's value that withdraws a weighing instead of putting it right.
const withdraw = "withdraw"

// correctIn puts a weighing right, or withdraws it; refused, the page shows what was typed.
func (p *Pages) correctIn(v *visit) (view, error) {
	paths := rowPaths{}
	done, err := p.correct(v, paths)
	if err != nil {
		return again(v, err, p.showPicked, paths.field)
	}
	return view{goTo: "/picked?done=" + done + "&day=" + url.QueryEscape(v.r.PostFormValue("day")) + farmQuery(v)}, nil
}

func (p *Pages) correct(v *visit, paths rowPaths) (done string, err error) {
	req := &harvestv1.CorrectPickRequest{RequestId: v.r.PostFormValue("request_id"), PickId: v.r.PostFormValue("pick"), Reason: v.text("reason")}
	done = "withdrawn"
	if v.r.PostFormValue("do") != withdraw {
		done = "corrected"
		if req.Pick, err = v.filledPick(paths); err != nil {
			return "", err
		}
	}
	if req.GetReason() == "" {
		return "", fault.InvalidField("reason", "%s", v.words.T("picked.no_reason"))
	}
	_, err = p.harvest.CorrectPick(v.ctx, req)
	return done, err
}
