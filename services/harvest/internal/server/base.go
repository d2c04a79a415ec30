package server

import (
	"fmt"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// checkBases refuses a push of which a figure names the version that it means
// to change, where somebody has pushed other figures since. Figures that say
// the same as the newest change nothing and are no conflict, and what only
// stands in for a push gives way to it.
func checkBases(list []*harvestv1.ExpectedPick, wanted []store.PickLot, open store.Opened) error {
	var stale *fault.Error
	for i, e := range list {
		newest, known := open.Expected[lots.Code(wanted[i].RoomID, wanted[i].ProductID, wanted[i].Day)]
		if e.BaseVersion == nil || !known || newest.StandIn || newest.Version == e.GetBaseVersion() ||
			newest.Low == e.GetLowGrams() && newest.Likely == e.GetLikelyGrams() && newest.High == e.GetHighGrams() {
			continue
		}
		if stale == nil {
			stale = fault.New(fault.Stale, "PUSHED_MEANWHILE", "figures were pushed by somebody else meanwhile: read them, and send yours again with the version that they replace")
		}
		stale = stale.WithField(fmt.Sprintf("expected_picks[%d].base_version", i), "is %d, and %s has pushed version %d since: %d, %d and %d g",
			e.GetBaseVersion(), newest.PushedBy, newest.Version, newest.Low, newest.Likely, newest.High)
	}
	if stale == nil {
		return nil
	}
	return stale
}
