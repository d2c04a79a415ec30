package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

const (
	usualWeeks   = 26
	usualSeconds = 5
	// patience is how much longer than its search the planner may take to answer.
	planPatience = 10 * time.Second
)

// proposalsPage sets two plans of fills side by side: one that leaves the planned crops as
// they are, and one that plans them anew.
type proposalsPage struct {
	Weeks, Seconds int64
	Ran            bool
	Form           *form
	Plans          []planView
	Forbidden      []forbidRow
}

// forbidRow is a fill that was not to be proposed.
type forbidRow struct{ Value, Room, Programme, Week string }

// planView is one proposal.
type planView struct {
	ID, Key  string // Key names it
	Currency string
	Figures  []planFigure
	Fills    []fillRow
	Dropped  []dropRow
	Balances []balance
	Weekly   *table
	Farms    *table
	Notes    []string
	New      int // fills that are not planned yet
	Form     *form
}

// planFigure is one figure of a plan for the table.
type planFigure struct{ Key, Value string }

// fillRow is one proposed fill.
type fillRow struct {
	Value, Farm, Room, Programme string
	Fill, FirstPick, Free        string
	Planned, Pinned, Ticked      bool
	CompostKg                    int64
	Cost, Without                string
	Serves                       []servedRow
	Earlier, Later               *moveRow
}

// servedRow is what a fill yields in a week and how much of it somebody would miss.
type servedRow struct {
	Week, Species string
	Grams, Short  int64
}

// moveRow is what a fill a week earlier or later would cost.
type moveRow struct {
	Week, Change, Reason string
	Possible             bool
}

// dropRow is a planned crop that a plan leaves out.
type dropRow struct {
	Value, Crop, Room, Fill string
	Ticked                  bool
}

// showProposals offers to plan and, where asked to, plans both ways at once.
func (p *Pages) showProposals(v *visit, f *form) (view, error) {
	page := proposalsPage{Weeks: usualWeeks, Seconds: usualSeconds, Form: f, Ran: v.r.FormValue("run") != ""}
	for name, into := range map[string]*int64{"weeks": &page.Weeks, "seconds": &page.Seconds} {
		if typed := v.r.FormValue(name); typed != "" {
			n, err := strconv.ParseInt(typed, 10, 32)
			if err != nil || n < 1 || n > 53 {
				return view{}, fault.InvalidField(name, "%s", v.words.T("problem.whole", typed))
			}
			*into = n
		}
	}
	shown := view{template: "proposals", title: "proposals.title"}
	if page.Ran {
		if err := p.propose(v, f, &page); err != nil {
			return view{}, err
		}
	}
	shown.data = page
	return shown, nil
}

func (p *Pages) propose(v *visit, f *form, page *proposalsPage) error {
	ctx, cancel := context.WithTimeout(v.ctx, time.Duration(page.Seconds)*time.Second+planPatience)
	defer cancel()
	req := &schedulingv1.ProposeFillsRequest{Weeks: int32(page.Weeks), Seconds: int32(page.Seconds)}
	for _, value := range v.r.Form["fill"] {
		plan, week, ok := fillOf(value)
		if !ok {
			return fault.InvalidField("fill", "%s", v.words.T("proposals.unread"))
		}
		req.Pins = append(req.Pins, &schedulingv1.FillChoice{RoomId: plan.GetRoomId(), ProgrammeId: plan.GetProgrammeId(), Week: week})
	}
	for _, value := range slices.Compact(slices.Sorted(slices.Values(v.r.Form["never"]))) {
		plan, week, ok := fillOf(value)
		if !ok {
			return fault.InvalidField("never", "%s", v.words.T("proposals.unread"))
		}
		never := &schedulingv1.FillChoice{RoomId: plan.GetRoomId(), ProgrammeId: plan.GetProgrammeId(), Week: week}
		req.Forbids = append(req.Forbids, never)
		// What is never to be is not kept, even where its box is still ticked.
		req.Pins = slices.DeleteFunc(req.Pins, func(c *schedulingv1.FillChoice) bool { return proto.Equal(c, never) })
		page.Forbidden = append(page.Forbidden, forbidRow{Value: value, Room: plan.GetRoomId(), Programme: plan.GetProgrammeId(), Week: week})
	}
	var (
		kept, anew *schedulingv1.Proposal
		n          names
	)
	err := together(ctx,
		func(ctx context.Context) (err error) {
			kept, err = p.lastProposal(ctx, req, false)
			return err
		},
		func(ctx context.Context) (err error) {
			anew, err = p.lastProposal(ctx, req, true)
			return err
		},
		p.naming(&n, farmNames|roomNames|productNames),
	)
	if err != nil {
		return err
	}
	for i := range page.Forbidden {
		page.Forbidden[i].Room = nameOf(n.rooms, page.Forbidden[i].Room)
	}
	page.Plans = []planView{planViewOf(v, f, "kept", kept, n), planViewOf(v, f, "anew", anew, n)}
	return nil
}

// lastProposal is the best proposal of a search.
func (p *Pages) lastProposal(ctx context.Context, req *schedulingv1.ProposeFillsRequest, replan bool) (*schedulingv1.Proposal, error) {
	better, err := p.scheduling.ProposeFills(ctx, &schedulingv1.ProposeFillsRequest{Weeks: req.GetWeeks(), Seconds: req.GetSeconds(), Pins: req.GetPins(), Forbids: req.GetForbids(), Replan: replan})
	if err != nil {
		return nil, err
	}
	var best *schedulingv1.Proposal
	for {
		next, err := better.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		best = next
	}
	if best == nil {
		return nil, fault.New(fault.Internal, "NO_PROPOSAL", "the planner ended without a proposal")
	}
	return best, nil
}

func planViewOf(v *visit, f *form, id string, plan *schedulingv1.Proposal, n names) planView {
	pf := f.For(id)
	shown := planView{ID: id, Key: "proposals." + id, Currency: plan.GetCurrencyCode(), Balances: balancesOf(plan.GetKinds(), n), Weekly: weeksTable(v, id+"-weeks", v.words.T("proposals."+id), plan.GetKinds()), Farms: farmsTable(v, id, plan.GetFarms(), n), Notes: plan.GetNotes(), Form: pf}
	money := func(minor int64) string { return v.words.Money(minor, plan.GetCurrencyCode()) }
	for _, one := range plan.GetFills() {
		row := fillRow{
			Value: strings.Join([]string{one.GetRoomId(), one.GetProgrammeId(), one.GetWeek(), one.GetFillDate()}, ","),
			Farm:  nameOf(n.farms, one.GetFarmId()), Room: nameOf(n.rooms, one.GetRoomId()), Programme: one.GetProgrammeId(),
			Fill: one.GetFillDate(), FirstPick: one.GetFirstPickDate(), Free: one.GetFreeDate(), Planned: one.GetCropId() != "", Pinned: one.GetPinned(),
			CompostKg: one.GetCompostGrams() / 1000, Cost: money(one.GetCostMinor()), Earlier: moveOf(one.GetEarlier(), money), Later: moveOf(one.GetLater(), money),
		}
		row.Ticked = !pf.Sent() || slices.Contains(pf.values["fill"], row.Value)
		if one.WithoutMinor != nil {
			row.Without = money(one.GetWithoutMinor())
		}
		for _, s := range one.GetServes() {
			row.Serves = append(row.Serves, servedRow{s.GetWeek(), s.GetKind().GetSpecies(), s.GetGrams(), s.GetShortGrams()})
		}
		if !row.Planned {
			shown.New++
		}
		shown.Fills = append(shown.Fills, row)
	}
	for _, d := range plan.GetDropped() {
		row := dropRow{Value: d.GetCropId() + "," + d.GetEtag(), Crop: d.GetCropId(), Room: nameOf(n.rooms, d.GetRoomId()), Fill: d.GetFillDate()}
		row.Ticked = !pf.Sent() || slices.Contains(pf.values["drop"], row.Value)
		shown.Dropped = append(shown.Dropped, row)
	}
	gap := "–"
	switch {
	case plan.GetOptimal():
		gap = v.words.T("proposals.optimal")
	case plan.GapPerMille != nil:
		gap = v.words.Percent(plan.GetGapPerMille())
	}
	shown.Figures = []planFigure{
		{"proposals.cost", money(plan.GetCostMinor())}, {"proposals.short", money(plan.GetShortMinor())}, {"proposals.over", money(plan.GetOverMinor())},
		{"proposals.fill_cost", money(plan.GetFillMinor())}, {"proposals.new_fills", plain(int64(shown.New))}, {"proposals.dropped", plain(int64(len(shown.Dropped)))}, {"proposals.wish", money(plan.GetWishMinor())}, {"proposals.gap", gap},
	}
	return shown
}

// farmsTable sets what a plan means for each farm beside its member shares, and its work.
func farmsTable(v *visit, id string, farms []*schedulingv1.FarmPlan, n names) *table {
	mass := v.words.MassUnit()
	t := &table{ID: id + "-farms", Caption: v.words.T("proposals.farms"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "proposals.bears", Name: "grams", Figures: true, Unit: mass}, {Key: "proposals.fair", Name: "fair_grams", Figures: true, Unit: mass},
		{Key: "proposals.peak", Name: "peak_week"}, {Key: "proposals.peak_minutes", Name: "peak_minutes", Figures: true}, {Key: "proposals.over_limit", Name: "weeks_over_limit", Figures: true},
	}}
	for _, f := range farms {
		t.Rows = append(t.Rows, []cell{
			name(nameOf(n.farms, f.GetFarmId())), v.weight(f.GetGrams()), v.weight(f.GetFairGrams()), v.date(f.GetPeakWeek()), v.count(f.GetPeakMinutes()), v.count(int64(f.GetWeeksOverLimit())),
		})
	}
	return v.table(t)
}

func moveOf(m *schedulingv1.FillMove, money func(int64) string) *moveRow {
	if m == nil {
		return nil
	}
	return &moveRow{Week: m.GetWeek(), Change: money(m.GetChangeMinor()), Reason: m.GetReason(), Possible: m.GetPossible()}
}

// fillOf reads "room,programme,week,day" of a form.
func fillOf(value string) (plan *schedulingv1.CropPlan, week string, ok bool) {
	parts := strings.Split(value, ",")
	if len(parts) != 4 {
		return nil, "", false
	}
	return &schedulingv1.CropPlan{RoomId: parts[0], ProgrammeId: parts[1], From: &schedulingv1.CropPlan_FillDate{FillDate: parts[3]}}, parts[2], true
}

// acceptFills plans the ticked fills and calls off the ticked crops, all or nothing.
func (p *Pages) acceptFills(v *visit) (view, error) {
	req := &schedulingv1.AcceptFillsRequest{RequestId: v.r.PostFormValue("request_id")}
	for _, value := range v.r.PostForm["fill"] {
		plan, _, ok := fillOf(value)
		if !ok {
			return view{}, fault.InvalidField("fill", "%s", v.words.T("proposals.unread"))
		}
		req.Fills = append(req.Fills, plan)
	}
	for _, value := range v.r.PostForm["drop"] {
		crop, etag, _ := strings.Cut(value, ",")
		req.CallOffs = append(req.CallOffs, &schedulingv1.CallOff{CropId: crop, Etag: etag})
	}
	if len(req.GetFills())+len(req.GetCallOffs()) == 0 {
		return view{}, fault.New(fault.Invalid, "NOTHING_TICKED", "%s", v.words.T("proposals.nothing"))
	}
	res, err := p.scheduling.AcceptFills(v.ctx, req)
	if err != nil {
		return view{}, err
	}
	return view{goTo: fmt.Sprintf("/quarter?planned=%d&called_off=%d", len(res.GetCrops()), len(res.GetCalledOff()))}, nil
}
