package web

import harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"

// starting is what the figures of one product of a room can start from.
type starting struct {
	pick  *harvestv1.ExpectedPick // the newest that a person pushed
	model *harvestv1.Fan          // the forecast for the day
	miss  *miss
}

// startingPoints gathers, for each room and product, what was pushed, what the forecast says
// of the day and how far off the last push was.
func startingPoints(pushed []*harvestv1.ExpectedPick, outlooks []*harvestv1.Outlook, day string) map[string]starting {
	all := make(map[string]starting)
	for key, e := range newestPushes(pushed) {
		all[key] = starting{pick: e}
	}
	for _, o := range outlooks {
		key := pushKey(o.GetRoomId(), o.GetProductId())
		s := all[key]
		if o.GetDate() == day && o.GetModel() != nil {
			s.model = o.GetModel()
		}
		if o.GetSaid() != nil && o.PickedGrams != nil && o.GetDate() < day && (s.miss == nil || o.GetDate() > s.miss.Date) {
			s.miss = &miss{Date: o.GetDate(), Said: o.GetSaid().GetLikelyGrams(), Picked: o.GetPickedGrams()}
		}
		all[key] = s
	}
	return all
}

// newestPushes keeps, for each room and product, the latest day's figures that a person
// pushed: what stands in for a push is none.
func newestPushes(all []*harvestv1.ExpectedPick) map[string]*harvestv1.ExpectedPick {
	newest := make(map[string]*harvestv1.ExpectedPick)
	for _, e := range all {
		if e.GetSource() == harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST {
			continue
		}
		key := pushKey(e.GetRoomId(), e.GetProductId())
		if old := newest[key]; old == nil || e.GetDate() > old.GetDate() {
			newest[key] = e
		}
	}
	return newest
}
