package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// lookBack is how many days an earlier push can serve as a starting point.
const lookBack = 7

// pushPage is every room of a farm that bears on a day.
type pushPage struct {
	Day, Before, After string
	Form, File         *form
	Farm               string
	Done               int64
	Rooms              []pushRoom
	Resting            []restingRoom
	Late               int64 // figures taken after the cut-off
	Large              bool  // a figure was refused as too large, and may be confirmed
}

// pushRoom is a room with the products that its crop can give: those of earlier pushes first.
type pushRoom struct {
	ID, Name, Species string
	Rows, Others      []pushRow
}

// pushRow is what is expected of one product of a room; Version is that of the figures shown,
// 0 where none were pushed for the day.
type pushRow struct {
	Key, Name        string
	Lot              string // of which something was said already
	Low, Likely, Top input
	Version          int64
	Base             string // the version that the form was made from
	Theirs           *conflict
	PushedBy, AsOn   string
	Forecast         bool // the figures are the forecast's
	Step             int64
	Miss             *miss
}

// miss is the last day on which both a figure was pushed and something picked.
type miss struct {
	Date         string
	Said, Picked int64
}

// restingRoom is a room that gives nothing on the day.
type restingRoom struct{ Name, Stage, Until string }

// showPush shows the rooms of the grower's farm with a starting point for each figure: what
// was pushed for the day, else the forecast, else the last push of the week before.
func (p *Pages) showPush(v *visit, f *form) (view, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return view{}, err
	}
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	page := pushPage{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Form: f, File: f.For("file"), Farm: farm}
	for name := range f.errors {
		page.Large = page.Large || strings.HasPrefix(name, "high.")
	}
	page.Done, _ = strconv.ParseInt(v.r.URL.Query().Get("pushed"), 10, 64)
	page.Late, _ = strconv.ParseInt(v.r.URL.Query().Get("late"), 10, 64)
	var (
		rooms    *schedulingv1.ListRoomsResponse
		crops    *schedulingv1.GetCalendarResponse
		pushed   *harvestv1.ListExpectedPicksResponse
		outlooks *harvestv1.ListOutlooksResponse
		products *orderv1.ListProductsResponse
	)
	err = together(v.ctx,
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{FarmId: farm}),
		ask(&crops, p.scheduling.GetCalendar, &schedulingv1.GetCalendarRequest{FromDate: day, ToDate: day, FarmId: farm}),
		ask(&pushed, p.harvest.ListExpectedPicks, &harvestv1.ListExpectedPicksRequest{FromDate: addDays(day, -lookBack), ToDate: day, FarmId: farm}),
		ask(&outlooks, p.harvest.ListOutlooks, &harvestv1.ListOutlooksRequest{FromDate: addDays(day, -lookBack), ToDate: day, FarmId: farm}),
		ask(&products, p.order.ListProducts, &orderv1.ListProductsRequest{}),
	)
	if err != nil {
		return view{}, err
	}
	start := startingPoints(pushed.GetExpectedPicks(), outlooks.GetOutlooks(), day)
	for _, room := range rooms.GetRooms() {
		crop := cropOn(crops.GetCrops(), room.GetRoomId(), day)
		stage := stageOn(crop, day)
		if stage.GetKind() != schedulingv1.StageKind_STAGE_KIND_CROPPING {
			page.Resting = append(page.Resting, restingRoom{Name: room.GetName(), Stage: stageKey(stage), Until: stage.GetEndDate()})
			continue
		}
		page.Rooms = append(page.Rooms, pushRoomOf(v, f, room, crop, products.GetProducts(), start, day))
	}
	return view{template: "push", title: "push.title", data: page, keep: "/push?day=" + day}, nil
}

// farmOf is the farm that the visitor stands for; the office names one.
func (p *Pages) farmOf(v *visit) (string, error) {
	if v.who.FarmID != "" {
		return v.who.FarmID, nil
	}
	if farm := v.r.FormValue("farm"); farm != "" {
		return farm, nil
	}
	return "", fault.New(fault.Forbidden, "NO_FARM", "%s", v.words.T("problem.no_farm"))
}

// farmDay is that farm with the day that the request names, today without one.
func (p *Pages) farmDay(v *visit) (farm, day string, err error) {
	if farm, err = p.farmOf(v); err != nil {
		return "", "", err
	}
	day, err = v.day(v.today(0))
	return farm, day, err
}

func pushKey(room, product string) string { return room + "." + product }

func pushRoomOf(v *visit, f *form, room *schedulingv1.Room, crop *schedulingv1.Crop, products []*orderv1.Product, start map[string]starting, day string) pushRoom {
	shown := pushRoom{ID: room.GetRoomId(), Name: room.GetName(), Species: crop.GetSpecies()}
	for _, product := range products {
		if product.GetSpecies() != crop.GetSpecies() || product.GetStrain() != "" && crop.GetStrain() != "" && product.GetStrain() != crop.GetStrain() {
			continue
		}
		from := start[pushKey(room.GetRoomId(), product.GetProductId())]
		row := pushRowOf(v, f, room, product, from, day)
		if from.pick == nil && from.model == nil && f.Value("likely."+row.Key, "") == "" {
			shown.Others = append(shown.Others, row)
		} else {
			shown.Rows = append(shown.Rows, row)
		}
	}
	if len(shown.Rows) == 0 {
		shown.Rows, shown.Others = shown.Others, nil
	}
	return shown
}

func pushRowOf(v *visit, f *form, room *schedulingv1.Room, product *orderv1.Product, from starting, day string) pushRow {
	key := pushKey(room.GetRoomId(), product.GetProductId())
	row := pushRow{Key: key, Name: product.GetName(), Step: v.words.Step(product.GetPackGrams()), Miss: from.miss}
	var low, likely, high string
	write := func(lowGrams, likelyGrams, highGrams int64) {
		low, likely, high = v.words.Field(lowGrams), v.words.Field(likelyGrams), v.words.Field(highGrams)
	}
	switch e := from.pick; {
	case e != nil && e.GetDate() == day:
		write(e.GetLowGrams(), e.GetLikelyGrams(), e.GetHighGrams())
		row.Version, row.PushedBy, row.Lot = e.GetVersion(), e.GetPushedBy(), e.GetPickLotId()
	case from.model != nil:
		// A person corrects tenths; the band does not narrow by rounding.
		write(v.words.Coarse(from.model.GetLowGrams(), -1), v.words.Coarse(from.model.GetLikelyGrams(), 0), v.words.Coarse(from.model.GetHighGrams(), 1))
		row.Forecast = true
	case e != nil:
		write(e.GetLowGrams(), e.GetLikelyGrams(), e.GetHighGrams())
		row.AsOn = e.GetDate()
	}
	row.Base = f.Value("version."+key, strconv.FormatInt(row.Version, 10))
	row.Low = newInput(f, "p", "kg", "low."+key, v.words.T("push.least"), low, v.words.MassUnit())
	row.Likely = newInput(f, "p", "kg", "likely."+key, v.words.T("push.likely"), likely, v.words.MassUnit())
	row.Top = newInput(f, "p", "kg", "high."+key, v.words.T("push.most"), high, v.words.MassUnit())
	return row
}

// push sends the figures that were filled in. What somebody else pushed since the form was
// rendered is shown beside what was typed and not written over.
func (p *Pages) push(v *visit) (view, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return view{}, err
	}
	figures, err := p.figures(v, day)
	if err != nil {
		return again(v, err, p.showPush, nil)
	}
	pushed, err := p.sendFigures(v, figures)
	switch {
	case err != nil && faultOf(err).Reason == pushedMeanwhile:
		return p.showConflicts(v, err, day, figures)
	case err != nil:
		return again(v, err, p.showPush, pushFieldOf(figures))
	}
	late := ""
	if n := countLate(pushed); n > 0 {
		late = "&late=" + strconv.Itoa(n)
	}
	return view{goTo: fmt.Sprintf("/push?day=%s&pushed=%d%s%s", url.QueryEscape(day), len(figures), late, farmQuery(v))}, nil
}

// sendFigures pushes figures. Where the visitor chose that what others pushed shall hold, there
// may be none left to send.
func (p *Pages) sendFigures(v *visit, figures []*harvestv1.ExpectedPick) (*harvestv1.PushExpectedPicksResponse, error) {
	if len(figures) == 0 {
		return &harvestv1.PushExpectedPicksResponse{}, nil
	}
	return p.harvest.PushExpectedPicks(v.ctx, &harvestv1.PushExpectedPicksRequest{RequestId: v.r.PostFormValue("request_id"), ExpectedPicks: figures, ConfirmLarge: v.r.PostFormValue("confirm_large") != ""})
}

// farmQuery keeps the farm that an office looks at.
func farmQuery(v *visit) string {
	if v.who.FarmID != "" || v.r.FormValue("farm") == "" {
		return ""
	}
	return "&farm=" + url.QueryEscape(v.r.FormValue("farm"))
}

// figures reads the form: each room and product with any figure needs all three.
func (p *Pages) figures(v *visit, day string) ([]*harvestv1.ExpectedPick, error) {
	var keys []string
	for name := range v.r.PostForm {
		if key, ok := strings.CutPrefix(name, "likely."); ok && v.r.PostFormValue("low."+key)+v.r.PostFormValue(name)+v.r.PostFormValue("high."+key) != "" {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	var (
		all []*harvestv1.ExpectedPick
		bad *fault.Error
	)
	chosen := false
	for _, key := range keys {
		choice := v.r.PostFormValue("choose." + key)
		if choice == "theirs" {
			chosen = true
			continue
		}
		room, product, _ := strings.Cut(key, ".")
		e := &harvestv1.ExpectedPick{RoomId: room, ProductId: product, Date: day}
		if e.BaseVersion, bad = baseOf(v, key, choice, bad); bad != nil {
			continue
		}
		for _, part := range []struct {
			name string
			into *int64
		}{{"low.", &e.LowGrams}, {"likely.", &e.LikelyGrams}, {"high.", &e.HighGrams}} {
			typed := v.r.PostFormValue(part.name + key)
			grams, ok := v.words.Grams(typed)
			if !ok {
				text := v.words.T("problem.kg", typed)
				if strings.TrimSpace(typed) == "" {
					text = v.words.T("push.all_three")
				}
				if bad == nil {
					bad = fault.New(fault.Invalid, fault.ReasonInvalidField, "%s", v.words.T("push.mend"))
				}
				bad = bad.WithField(part.name+key, "%s", text)
			}
			*part.into = grams
		}
		all = append(all, e)
	}
	if bad != nil {
		return nil, bad
	}
	if len(all) == 0 && !chosen {
		return nil, fault.New(fault.Invalid, "NOTHING_PUSHED", "%s", v.words.T("push.nothing"))
	}
	return all, nil
}

// baseOf is the version that a figure replaces: the one that the visitor chose to replace,
// else the one that the form was made from; nil where the form names none.
func baseOf(v *visit, key, choice string, bad *fault.Error) (*int64, *fault.Error) {
	typed, mine := strings.CutPrefix(choice, "mine.")
	if !mine {
		typed = v.r.PostFormValue("version." + key)
	}
	if typed == "" {
		return nil, bad
	}
	version, err := strconv.ParseInt(typed, 10, 64)
	if err != nil || version < 0 {
		return nil, fault.InvalidField("likely."+key, "%s", v.words.T("problem.whole", typed))
	}
	return &version, bad
}

// pushFieldOf turns "expected_picks[3].low_grams" into the form's field.
func pushFieldOf(figures []*harvestv1.ExpectedPick) func(string) string {
	return func(path string) string {
		rest, ok := strings.CutPrefix(path, "expected_picks[")
		number, field, found := strings.Cut(rest, "]")
		i, err := strconv.Atoi(number)
		if !ok || !found || err != nil || i < 0 || i >= len(figures) {
			return path
		}
		part := map[string]string{".low_grams": "low.", ".high_grams": "high."}[field]
		if part == "" {
			part = "likely."
		}
		return part + pushKey(figures[i].GetRoomId(), figures[i].GetProductId())
	}
}
