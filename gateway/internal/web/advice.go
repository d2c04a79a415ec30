package web

import (
	"strings"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// endAdvice weighs another break of a room's crop against a fresh cycle. A person decides.
type endAdvice struct {
	Key, Reason              string
	Sure                     bool
	ClearOn, CostsFrom       string
	CostsADay                string
	Next, Fresh              string // a room-day's net value; Next is empty where no break comes
	GainLow, Gain, GainHigh  string
	NotAdvised               string // why nothing can be advised; all else is empty then
	Sales, Picking, RoomCost string
	Incident                 string
}

// adviceByCrop words the advice for each crop, and why there is none.
func adviceByCrop(v *visit, res *harvestv1.AdviseEndResponse) map[string]*endAdvice {
	all := map[string]*endAdvice{}
	for _, a := range res.GetAdvice() {
		currency := nameOr(a.GetCurrencyCode(), v.coop.GetCurrencyCode())
		money := func(minor int64) string { return v.words.Money(minor, currency) }
		one := &endAdvice{
			Key: "advice." + strings.ToLower(strings.TrimPrefix(a.GetVerdict().String(), "END_VERDICT_")), Reason: a.GetReason(), Sure: a.GetSure(),
			ClearOn: a.GetClearOnDate(), CostsFrom: a.GetWaitingCostsFromDate(), CostsADay: money(a.GetWaitingCostsMinorPerDay()), Fresh: money(a.GetFreshMinorPerDay()),
			GainLow: money(a.GetGainLowMinor()), Gain: money(a.GetGainLikelyMinor()), GainHigh: money(a.GetGainHighMinor()),
			Sales: money(a.GetNextSalesMinor()), Picking: money(a.GetNextPickingAndHandlingMinor()), RoomCost: money(a.GetNextRoomMinor()), Incident: money(a.GetNextIncidentMinor()),
		}
		if a.NextMinorPerDay != nil {
			one.Next = money(a.GetNextMinorPerDay())
		}
		all[a.GetCropId()] = one
	}
	for _, c := range res.GetNotAdvised() {
		all[c.GetCropId()] = &endAdvice{NotAdvised: c.GetReason()}
	}
	return all
}
