package web

import (
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// saidPage is all that was ever expected of one pick lot, beside what the forecast says and what is
// used.
type saidPage struct {
	Lot, Room, Product, Day string
	Figures                 []saidFigure
	Weight                  string // of the push in what is used
	Picked                  string // empty where nothing was
	Versions                *table
}

// saidFigure is a figure of one source.
type saidFigure struct{ Key, Low, Likely, High string }

// showSaid shows one pick lot.
func (p *Pages) showSaid(v *visit, _ *form) (view, error) {
	lot := v.r.FormValue("lot")
	var n names
	list, err := p.harvest.ListExpectedPickVersions(v.ctx, &harvestv1.ListExpectedPickVersionsRequest{PickLotId: lot})
	if err != nil {
		return view{}, err
	}
	page := saidPage{Lot: lot}
	if len(list.GetExpectedPicks()) == 0 {
		return view{template: "said", title: "said.title", data: page}, nil
	}
	of := list.GetExpectedPicks()[0]
	var outlooks *harvestv1.ListOutlooksResponse
	err = together(v.ctx,
		ask(&outlooks, p.harvest.ListOutlooks, &harvestv1.ListOutlooksRequest{FromDate: of.GetDate(), ToDate: of.GetDate(), FarmId: of.GetFarmId()}),
		p.naming(&n, roomNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	page.Room, page.Product, page.Day = nameOf(n.rooms, of.GetRoomId()), n.product(of.GetProductId()), of.GetDate()
	for _, o := range outlooks.GetOutlooks() {
		if o.GetPickLotId() == lot {
			page.outlook(v, o)
		}
	}
	page.Versions = versionTable(v, list.GetExpectedPicks())
	return view{template: "said", title: "said.title", data: page}, nil
}

func (page *saidPage) outlook(v *visit, o *harvestv1.Outlook) {
	for _, f := range []struct {
		key string
		fan *harvestv1.Fan
	}{{"said.said", o.GetSaid()}, {"said.corrected", o.GetSaidCorrected()}, {"said.model", o.GetModel()}, {"said.used", o.GetUsed()}} {
		if f.fan != nil {
			page.Figures = append(page.Figures, saidFigure{f.key, v.words.Weight(f.fan.GetLowGrams()), v.words.Weight(f.fan.GetLikelyGrams()), v.words.Weight(f.fan.GetHighGrams())})
		}
	}
	page.Weight = v.words.Percent(int64(o.GetPushPerMille()))
	if o.PickedGrams != nil {
		page.Picked = v.words.Mass(o.GetPickedGrams())
	}
}

// versionTable lists the versions, the newest first.
func versionTable(v *visit, list []*harvestv1.ExpectedPick) *table {
	mass := v.words.MassUnit()
	t := &table{ID: "versions", Caption: v.words.T("said.versions"), Columns: []column{
		{Key: "said.version", Name: "version", Figures: true}, {Key: "push.least", Name: "low_grams", Figures: true, Unit: mass}, {Key: "push.likely", Name: "likely_grams", Figures: true, Unit: mass},
		{Key: "push.most", Name: "high_grams", Figures: true, Unit: mass}, {Key: "said.by", Name: "pushed_by"}, {Key: "said.at", Name: "pushed_at"},
	}}
	for i := len(list) - 1; i >= 0; i-- {
		e := list[i]
		by := name(e.GetPushedBy())
		switch {
		case e.GetSource() == harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST:
			by = v.says("said.stand_in")
		case e.GetLate():
			by = v.says("said.late", e.GetPushedBy())
		}
		t.Rows = append(t.Rows, []cell{v.count(e.GetVersion()), v.weight(e.GetLowGrams()), v.weight(e.GetLikelyGrams()), v.weight(e.GetHighGrams()), by, v.instant(e.GetPushedAt().AsTime())})
	}
	return v.table(t)
}
