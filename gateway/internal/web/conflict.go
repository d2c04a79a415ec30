package web

import (
	"net/http"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// conflicts are the figures that changed since the form was rendered. One that says the same
// as the form is none: the form may have been sent twice.
func (p *Pages) conflicts(v *visit, day string, figures []*harvestv1.ExpectedPick) ([]*harvestv1.ExpectedPick, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return nil, err
	}
	stored, err := p.harvest.ListExpectedPicks(v.ctx, &harvestv1.ListExpectedPicksRequest{FromDate: day, ToDate: day, FarmId: farm})
	if err != nil {
		return nil, err
	}
	newest := newestPushes(stored.GetExpectedPicks())
	var changed []*harvestv1.ExpectedPick
	for _, mine := range figures {
		key := pushKey(mine.GetRoomId(), mine.GetProductId())
		theirs := newest[key]
		if theirs == nil || sameFigures(mine, theirs) {
			continue
		}
		seen, err := v.whole("version." + key)
		if err != nil {
			return nil, err
		}
		if theirs.GetVersion() > seen {
			changed = append(changed, theirs)
		}
	}
	return changed, nil
}

func sameFigures(a, b *harvestv1.ExpectedPick) bool {
	return a.GetLowGrams() == b.GetLowGrams() && a.GetLikelyGrams() == b.GetLikelyGrams() && a.GetHighGrams() == b.GetHighGrams()
}

// showConflicts shows the form again, with what was typed and what the others pushed. Its
// versions are the new ones, so that sending it again is a decision made in knowledge.
func (p *Pages) showConflicts(v *visit, changed []*harvestv1.ExpectedPick) (view, error) {
	shown, err := again(v, fault.New(fault.Stale, "PUSHED_MEANWHILE", "%s", v.words.T("push.conflict")), p.showPush, nil)
	if err != nil {
		return view{}, err
	}
	page := shown.data.(pushPage)
	for _, e := range changed {
		c := conflict{Room: e.GetRoomId(), Product: e.GetProductId(), By: e.GetPushedBy(), Low: e.GetLowGrams(), Likely: e.GetLikelyGrams(), High: e.GetHighGrams()}
		if at := e.GetPushedAt(); at != nil {
			c.At = v.words.Instant(at.AsTime(), v.zone)
		}
		for _, room := range page.Rooms {
			if room.ID == c.Room {
				c.Room = room.Name
			}
			for _, row := range room.Rows {
				if row.Key == pushKey(e.GetRoomId(), e.GetProductId()) {
					c.Product = row.Name
				}
			}
		}
		page.Conflicts = append(page.Conflicts, c)
	}
	shown.data = page
	shown.status = http.StatusConflict
	return shown, nil
}
