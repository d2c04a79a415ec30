package web

import (
	"context"
	"strconv"
	"strings"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// whatIfPage sets the plan as things are beside the plan as they might become.
type whatIfPage struct {
	Form                 *form
	Percent, From, Weeks input
	Rooms, Yards         []roomChoice
	Ran                  bool
	Plans                []planView
	Cost                 string
	CompostKg            int64
	Kinds                *table // nil where nothing changes
	Changed              []roomChangeRow
}

// roomChangeRow is a room that is filled otherwise.
type roomChangeRow struct {
	Room        string
	Base, Other []fillChoiceRow
}

// fillChoiceRow is a fill by its week.
type fillChoiceRow struct{ Week, Programme string }

// showWhatIf offers the questions.
func (p *Pages) showWhatIf(v *visit, f *form) (view, error) {
	var (
		rooms *schedulingv1.ListRoomsResponse
		n     names
	)
	err := together(v.ctx,
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{}),
		p.naming(&n, farmNames|yardNames),
	)
	if err != nil {
		return view{}, err
	}
	page := whatIfPage{Form: f}
	page.Percent = newInput(f, "whatif", "whole", "demand_percent", v.words.T("whatif.percent"), "", "%")
	page.From = newInput(f, "whatif", "date", "from_week", v.words.T("whatif.from"), mondayOf(v.today(7)), "")
	page.Weeks = newInput(f, "whatif", "whole", "weeks", v.words.T("whatif.weeks"), "2", "")
	for _, r := range rooms.GetRooms() {
		page.Rooms = append(page.Rooms, roomChoice{r.GetRoomId(), nameOf(n.farms, r.GetFarmId()) + ", " + r.GetName(), f.Value("room_lost", "") == r.GetRoomId()})
	}
	page.Yards = append(page.Yards, roomChoice{"*", v.words.T("whatif.all_yards"), f.Value("yard_down", "") == "*"})
	for _, id := range sortedKeys(n.yards) {
		page.Yards = append(page.Yards, roomChoice{id, n.yards[id], f.Value("yard_down", "") == id})
	}
	return view{template: "whatif", title: "whatif.title", data: page}, nil
}

// changes reads what the form says would be different.
func changes(v *visit) ([]*schedulingv1.Change, error) {
	var all []*schedulingv1.Change
	if typed := strings.TrimSpace(v.r.PostFormValue("demand_percent")); typed != "" {
		percent, err := strconv.ParseInt(typed, 10, 32)
		if err != nil || percent < 0 || percent > 1000 {
			return nil, fault.InvalidField("demand_percent", "%s", v.words.T("problem.whole", typed))
		}
		all = append(all, &schedulingv1.Change{Change: &schedulingv1.Change_DemandPercent{DemandPercent: int32(percent)}})
	}
	if room := v.r.PostFormValue("room_lost"); room != "" {
		all = append(all, &schedulingv1.Change{Change: &schedulingv1.Change_RoomLost{RoomLost: room}})
	}
	if yard := v.r.PostFormValue("yard_down"); yard != "" {
		from, err := v.dayOf("from_week", "")
		if err != nil {
			return nil, err
		}
		weeks, err := v.whole("weeks")
		if err != nil || weeks < 1 || weeks > 52 {
			return nil, fault.InvalidField("weeks", "%s", v.words.T("problem.whole", v.r.PostFormValue("weeks")))
		}
		all = append(all, &schedulingv1.Change{Change: &schedulingv1.Change_YardDown{YardDown: &schedulingv1.YardDown{
			YardId: strings.TrimSuffix(yard, "*"), FromWeek: mondayOf(from), Weeks: int32(weeks),
		}}})
	}
	if len(all) == 0 {
		return nil, fault.New(fault.Invalid, "NOTHING_CHANGES", "%s", v.words.T("whatif.nothing"))
	}
	return all, nil
}

// whatIf plans twice and shows the difference. It changes nothing.
func (p *Pages) whatIf(v *visit) (view, error) {
	all, err := changes(v)
	if err != nil {
		return view{}, err
	}
	v.replays = true
	ctx, cancel := context.WithTimeout(v.ctx, 2*usualSeconds*time.Second+planPatience)
	defer cancel()
	var (
		res *schedulingv1.WhatIfResponse
		n   names
	)
	err = together(ctx,
		ask(&res, p.scheduling.WhatIf, &schedulingv1.WhatIfRequest{Weeks: usualWeeks, Seconds: usualSeconds, Changes: all, Replan: v.r.PostFormValue("replan") != ""}),
		p.naming(&n, farmNames|roomNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	// What was asked stays in the form, beside the answer.
	shown, err := p.showWhatIf(v, &form{RequestID: newForm().RequestID, values: v.r.PostForm, answered: true})
	if err != nil {
		return view{}, err
	}
	page := shown.data.(whatIfPage)
	page.Ran = true
	page.Plans = []planView{planViewOf(v, newForm(), "base", res.GetBase(), n), planViewOf(v, newForm(), "changed", res.GetChanged(), n)}
	page.Cost, page.CompostKg = v.words.Money(res.GetDifference().GetCostMinor(), res.GetBase().GetCurrencyCode()), res.GetDifference().GetCompostKg()
	if kinds := res.GetDifference().GetKinds(); len(kinds) > 0 {
		page.Kinds = differenceTable(v, kinds)
	}
	for _, r := range res.GetDifference().GetRooms() {
		page.Changed = append(page.Changed, roomChangeRow{nameOf(n.rooms, r.GetRoomId()), fillChoices(r.GetOnlyBase()), fillChoices(r.GetOnlyChanged())})
	}
	shown.data = page
	return shown, nil
}

func fillChoices(all []*schedulingv1.FillChoice) []fillChoiceRow {
	var rows []fillChoiceRow
	for _, c := range all {
		rows = append(rows, fillChoiceRow{c.GetWeek(), c.GetProgrammeId()})
	}
	return rows
}

// differenceTable lists what a change makes more or less of each kind.
func differenceTable(v *visit, kinds []*schedulingv1.KindChange) *table {
	mass := v.words.MassUnit()
	t := &table{ID: "difference", Caption: v.words.T("whatif.difference"), Columns: []column{
		{Key: "whatif.kind", Name: "kind"}, {Key: "quarter.demand", Name: "demand_grams", Figures: true, Unit: mass}, {Key: "whatif.supply", Name: "supply_grams", Figures: true, Unit: mass},
		{Key: "quarter.gap", Name: "missing_grams", Figures: true, Unit: mass}, {Key: "quarter.over", Name: "over_grams", Figures: true, Unit: mass},
	}}
	for _, k := range kinds {
		t.Rows = append(t.Rows, []cell{name(v.kindName(k.GetKind())), v.weight(k.GetDemandGrams()), v.weight(k.GetSupplyGrams()), v.weight(k.GetShortGrams()), v.weight(k.GetOverGrams())})
	}
	return v.table(t)
}
