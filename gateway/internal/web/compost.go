package web

import (
	"context"
	"net/url"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// compostPage is what a farm asked the yards for and got, and which planned crops nobody has
// asked for yet.
type compostPage struct {
	Form  *form
	Done  bool
	Farm  string // of a visitor who stands for none
	Asked []wishRow
	Crops []cropNeed
}

// wishRow is a request with what it got. Wider is asked for with other days.
type wishRow struct {
	ID, Room, First, Last, Explanation, From string
	Wanted, Granted                          int64
	Decided, InFull                          bool
	Earliest, Latest                         input
	Wider                                    *widerAnswer // nil where it was not asked
}

// widerAnswer is what a request would get with other days.
type widerAnswer struct {
	Granted, Wanted   int64
	From, Explanation string
}

// cropNeed is a planned crop that needs compost.
type cropNeed struct {
	ID, Room, Fill, Phase string
	Kg                    int64
	Ask                   *form
	Early, Late, Least    input
	Whole                 bool
}

// showCompost shows the farm's requests and the crops that wait for one.
func (p *Pages) showCompost(v *visit, f *form) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	page := compostPage{Form: f, Done: v.r.URL.Query().Get("done") != ""}
	if v.who.FarmID == "" {
		page.Farm = farm
	}
	var (
		asked    *compostlotv1.ListCompostRequestsResponse
		calendar *schedulingv1.GetCalendarResponse
		wider    *compostlotv1.Share
		n        names
	)
	err = together(v.ctx,
		ask(&asked, p.compostlot.ListCompostRequests, &compostlotv1.ListCompostRequestsRequest{FarmId: farm}),
		ask(&calendar, p.scheduling.GetCalendar, &schedulingv1.GetCalendarRequest{FromDate: v.today(0), ToDate: v.today(slotsAhead), FarmId: farm}),
		func(ctx context.Context) (err error) {
			wider, err = p.askWider(ctx, v)
			return err
		},
		p.naming(&n, roomNames),
	)
	if err != nil {
		return view{}, err
	}
	page.wishes(v, f, asked, wider, n, farm)
	page.needs(v, f, calendar.GetCrops(), asked.GetCompostRequests(), n)
	return view{template: "compost", title: "compost.title", data: page}, nil
}

// askWider asks what a request would get with the days that the address names; nil where it
// names none.
func (p *Pages) askWider(ctx context.Context, v *visit) (*compostlotv1.Share, error) {
	id := v.r.FormValue("request")
	if id == "" {
		return nil, nil
	}
	first, err := v.dayOf("earliest", v.today(0))
	if err != nil {
		return nil, err
	}
	last, err := v.dayOf("latest", first)
	if err != nil {
		return nil, err
	}
	return p.compostlot.WhatIfWider(ctx, &compostlotv1.WhatIfWiderRequest{
		CompostRequestId: id, FromDate: v.today(0), ToDate: v.today(slotsAhead), EarliestDate: first, LatestDate: last,
	})
}

func (page *compostPage) wishes(v *visit, f *form, asked *compostlotv1.ListCompostRequestsResponse, wider *compostlotv1.Share, n names, farm string) {
	shares := byID(asked.GetShares(), (*compostlotv1.Share).GetCompostRequestId, func(s *compostlotv1.Share) *compostlotv1.Share { return s })
	for _, r := range asked.GetCompostRequests() {
		if r.GetFarmId() != farm {
			continue
		}
		id := r.GetCompostRequestId()
		row := wishRow{
			ID: id, Room: nameOf(n.rooms, r.GetRoomId()), First: r.GetEarliestDate(), Last: r.GetLatestDate(), Wanted: r.GetWantedKg(),
			Earliest: newInput(f, id, "date", "earliest", v.words.T("compost.first"), r.GetEarliestDate(), ""), Latest: newInput(f, id, "date", "latest", v.words.T("compost.last"), addDays(r.GetLatestDate(), 7), ""),
		}
		if s := shares[id]; s != nil {
			row.Decided, row.Granted, row.Explanation, row.From = true, s.GetGrantedKg(), s.GetExplanation(), slotsOf(s)
			row.InFull = s.GetGrantedKg() >= s.GetWantedKg()
		}
		if wider.GetCompostRequestId() == id {
			row.Earliest.Value, row.Latest.Value = v.r.FormValue("earliest"), v.r.FormValue("latest")
			row.Wider = &widerAnswer{wider.GetGrantedKg(), wider.GetWantedKg(), slotsOf(wider), wider.GetExplanation()}
		}
		page.Asked = append(page.Asked, row)
	}
}

// slotsOf are the slots of a share.
func slotsOf(s *compostlotv1.Share) string {
	var from []string
	for _, part := range s.GetSlots() {
		from = append(from, part.GetSlotId())
	}
	return strings.Join(from, ", ")
}

// needs are the crops to be filled for which no request stands, by fill date as they come.
func (page *compostPage) needs(v *visit, f *form, crops []*schedulingv1.Crop, asked []*compostlotv1.CompostRequest, n names) {
	has := byID(asked, (*compostlotv1.CompostRequest).GetCropId, func(*compostlotv1.CompostRequest) bool { return true })
	for _, c := range crops {
		if has[c.GetCropId()] || c.GetCompostGrams() == 0 || c.GetFillDate() <= v.today(0) {
			continue
		}
		ask := f.For("crop-" + c.GetCropId())
		page.Crops = append(page.Crops, cropNeed{
			ID: c.GetCropId(), Room: nameOf(n.rooms, c.GetRoomId()), Fill: c.GetFillDate(), Phase: phaseKey(c.GetCompostPhase()), Kg: c.GetCompostGrams() / 1000, Ask: ask,
			Early: newInput(ask, c.GetCropId(), "whole", "days_early", v.words.T("compost.early"), "0", ""), Late: newInput(ask, c.GetCropId(), "whole", "days_late", v.words.T("compost.late"), "3", ""),
			Least: newInput(ask, c.GetCropId(), "whole", "smallest_useful_kg", v.words.T("compost.least"), "", v.words.MassUnit()), Whole: ask.Value("whole_fill", "") != "",
		})
	}
}

// askForCrop asks for what a planned crop needs.
func (p *Pages) askForCrop(v *visit) (view, error) {
	early, err := v.whole("days_early")
	if err != nil {
		return view{}, err
	}
	late, err := v.whole("days_late")
	if err != nil {
		return view{}, err
	}
	least, err := v.kilograms("smallest_useful_kg")
	if err != nil {
		return view{}, err
	}
	_, err = p.compostlot.RequestForCrop(v.ctx, &compostlotv1.RequestForCropRequest{
		RequestId: v.r.PostFormValue("request_id"), CropId: v.r.PostFormValue("crop_id"), DaysEarly: int32(min(early, 1000)), DaysLate: int32(min(late, 1000)),
		SmallestUsefulKg: least, WholeFill: v.r.PostFormValue("whole_fill") != "",
	})
	farm := ""
	if v.who.FarmID == "" {
		farm = "&farm=" + url.QueryEscape(v.r.FormValue("farm"))
	}
	return view{goTo: "/compost?done=asked" + farm}, err
}
