package web

import (
	"net/http"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// pushedMeanwhile is harvest's reason for a push that was made from figures which somebody
// else has replaced since.
const pushedMeanwhile = "PUSHED_MEANWHILE"

// conflict is a figure that somebody else pushed since the form was rendered.
type conflict struct {
	Key, Room, Product, By, At string
	Version                    int64
	Low, Likely, High          int64
}

// meanwhile are the figures that stand in the way of a push, in the order of the page. One
// that says the same as the push is none.
func (p *Pages) meanwhile(v *visit, day string, figures []*harvestv1.ExpectedPick, page pushPage) ([]conflict, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return nil, err
	}
	stored, err := p.harvest.ListExpectedPicks(v.ctx, &harvestv1.ListExpectedPicksRequest{FromDate: day, ToDate: day, FarmId: farm})
	if err != nil {
		return nil, err
	}
	newest := newestPushes(stored.GetExpectedPicks())
	rooms, products := page.names()
	var all []conflict
	for _, mine := range figures {
		key := pushKey(mine.GetRoomId(), mine.GetProductId())
		e := newest[key]
		if e == nil || mine.BaseVersion == nil || e.GetVersion() == mine.GetBaseVersion() || sameFigures(mine, e) {
			continue
		}
		c := conflict{
			Key: key, Room: nameOf(rooms, e.GetRoomId()), Product: nameOf(products, key), By: e.GetPushedBy(), Version: e.GetVersion(),
			Low: e.GetLowGrams(), Likely: e.GetLikelyGrams(), High: e.GetHighGrams(),
		}
		if at := e.GetPushedAt(); at != nil {
			c.At = v.words.Instant(at.AsTime(), v.zone)
		}
		all = append(all, c)
	}
	return all, nil
}

func sameFigures(a, b *harvestv1.ExpectedPick) bool {
	return a.GetLowGrams() == b.GetLowGrams() && a.GetLikelyGrams() == b.GetLikelyGrams() && a.GetHighGrams() == b.GetHighGrams()
}

// names are those of the page's rooms, and of their products by the keys of their rows.
func (page pushPage) names() (rooms, products map[string]string) {
	rooms, products = map[string]string{}, map[string]string{}
	for _, room := range page.Rooms {
		rooms[room.ID] = room.Name
		for _, rows := range [][]pushRow{room.Rows, room.Others} {
			for _, row := range rows {
				products[row.Key] = row.Name
			}
		}
	}
	return rooms, products
}

// showConflicts shows the form again, what was typed beside what the others pushed. Nothing is
// written over without a choice for each: the form keeps the version that it was made from.
func (p *Pages) showConflicts(v *visit, refused error, day string, figures []*harvestv1.ExpectedPick) (view, error) {
	shown, err := again(v, fault.New(fault.Stale, pushedMeanwhile, "%s", v.words.T("push.conflict")).WithCause(refused), p.showPush, nil)
	if err != nil {
		return view{}, err
	}
	page := shown.data.(pushPage)
	all, err := p.meanwhile(v, day, figures, page)
	if err != nil {
		return view{}, err
	}
	theirs := map[string]*conflict{}
	for i := range all {
		theirs[all[i].Key] = &all[i]
	}
	for _, room := range page.Rooms {
		for _, rows := range [][]pushRow{room.Rows, room.Others} {
			for i := range rows {
				rows[i].Theirs = theirs[rows[i].Key]
			}
		}
	}
	shown.data = page
	shown.status = http.StatusConflict
	return shown, nil
}
