package web

import (
	"strconv"
	"strings"

	"golang.org/x/sync/errgroup"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// shareWeeks is how many weeks of the season a farm sees one by one.
const shareWeeks = 8

// Measures of the drawing of a farm's weeks, in its own units.
const shareStep, shareHeight = 80, 120

// sharePage is what a farm offered and sold in the season, and whether that was its part.
type sharePage struct {
	Farm             string // name
	From             string
	Offered, Matched int64
	Ahead, Fair      int64 // Fair is what its part would have been
	ByShares         bool  // the part goes by member shares, else by what was offered
	Weeks            *table
	Drawn            *shareDrawing
}

// Behind is how many packs the farm is short of its part.
func (p sharePage) Behind() int64 { return -p.Ahead }

// shareDrawing is offered and sold up to each week, as lines.
type shareDrawing struct {
	Width, Height         int
	Offered, Matched      string
	Fair                  string
	FirstWeek, LatestWeek string
}

// sharePoint is a farm's season before a day.
type sharePoint struct {
	day                    string
	offered, matched, fair int64
}

// showShare shows a grower the own farm's season.
func (p *Pages) showShare(v *visit, _ *form) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	days := []string{v.today(1)}
	for monday := mondayOf(v.today(0)); len(days) < shareWeeks; monday = addDays(monday, -7) {
		days = append([]string{monday}, days...)
	}
	var (
		seasons  = make([]*orderv1.GetSeasonResponse, len(days))
		settings *orderv1.MatchSettings
		n        names
	)
	group, ctx := errgroup.WithContext(v.ctx)
	for i, day := range days {
		group.Go(func() (err error) {
			seasons[i], err = p.order.GetSeason(ctx, &orderv1.GetSeasonRequest{DeliveryDate: day})
			return err
		})
	}
	group.Go(func() (err error) {
		settings, err = p.order.GetMatchSettings(ctx, &orderv1.GetMatchSettingsRequest{})
		return err
	})
	group.Go(func() (err error) {
		n, err = p.names(ctx, farmNames)
		return err
	})
	if err := group.Wait(); err != nil {
		return view{}, err
	}
	last := seasons[len(seasons)-1]
	page := sharePage{Farm: nameOf(n.farms, farm), From: last.GetFromDate(), ByShares: settings.GetLeftRule() == orderv1.LeftRule_LEFT_RULE_BY_SHARES}
	var points []sharePoint
	for i, s := range seasons {
		for _, f := range s.GetFarms() {
			// Before the season began there is nothing of it.
			if f.GetFarmId() == farm && s.GetFromDate() == last.GetFromDate() && days[i] > s.GetFromDate() {
				points = append(points, sharePoint{days[i], f.GetOffered(), f.GetMatched(), f.GetMatched() - f.GetAhead()})
			}
		}
	}
	if len(points) > 0 {
		now := points[len(points)-1]
		page.Offered, page.Matched, page.Fair, page.Ahead = now.offered, now.matched, now.fair, now.matched-now.fair
		page.Weeks = shareTable(v, points)
		if len(points) > 1 {
			page.Drawn = drawShare(points)
		}
	}
	return view{template: "share", title: "share.title", data: page}, nil
}

func drawShare(points []sharePoint) *shareDrawing {
	var largest int64 = 1
	for _, one := range points {
		largest = max(largest, one.offered, one.fair)
	}
	d := &shareDrawing{Width: (len(points) - 1) * shareStep, Height: shareHeight, FirstWeek: points[0].day, LatestWeek: points[len(points)-1].day}
	line := func(of func(sharePoint) int64) string {
		var path strings.Builder
		for i, one := range points {
			pen := "L"
			if i == 0 {
				pen = "M"
			}
			path.WriteString(pen + strconv.Itoa(i*shareStep) + " " + strconv.FormatInt(shareHeight-of(one)*shareHeight/largest, 10))
		}
		return path.String()
	}
	d.Offered, d.Matched, d.Fair = line(func(s sharePoint) int64 { return s.offered }), line(func(s sharePoint) int64 { return s.matched }), line(func(s sharePoint) int64 { return s.fair })
	return d
}

func shareTable(v *visit, points []sharePoint) *table {
	t := &table{ID: "weeks", Caption: v.words.T("share.weeks"), Columns: []column{
		{Key: "share.before", Name: "before_date"}, {Key: "tomorrow.offered", Name: "offered_packs", Figures: true}, {Key: "share.line_sold", Name: "sold_packs", Figures: true}, {Key: "share.line_part", Name: "fair_packs", Figures: true},
	}}
	for _, one := range points {
		t.Rows = append(t.Rows, []cell{v.date(one.day), v.count(one.offered), v.count(one.matched), v.count(one.fair)})
	}
	return v.table(t)
}
