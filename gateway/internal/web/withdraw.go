package web

import (
	"strconv"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// publishSeries publishes a slot and its like every so many weeks, up to a day.
func (p *Pages) publishSeries(v *visit, first *compostlotv1.Slot, through string) (view, error) {
	every, err := v.whole("every")
	if err != nil {
		return view{}, err
	}
	rule := "FREQ=WEEKLY;INTERVAL=" + strconv.FormatInt(max(1, every), 10)
	_, err = p.compostlot.PublishSlotSeries(v.ctx, &compostlotv1.PublishSlotSeriesRequest{RequestId: v.r.PostFormValue("request_id"), First: first, Rule: rule, ThroughDate: through})
	return view{goTo: "/slots?done=published"}, err
}

// withdrawSlot takes a slot back and shows whom that touches and what a new round would give
// them instead.
func (p *Pages) withdrawSlot(v *visit) (view, error) {
	res, err := p.compostlot.WithdrawSlot(v.ctx, &compostlotv1.WithdrawSlotRequest{
		RequestId: v.r.PostFormValue("request_id"), SlotId: v.r.PostFormValue("slot"), Notice: strings.TrimSpace(v.r.PostFormValue("notice")), Etag: v.r.PostFormValue("etag"),
	})
	if err != nil {
		return view{}, err
	}
	shown, err := p.showSlots(v, newForm())
	if err != nil {
		return view{}, err
	}
	n, err := p.names(v.ctx, farmNames)
	if err != nil {
		return view{}, err
	}
	page := shown.data.(slotsPage)
	page.WithdrawnNow = res.GetSlot().GetSlotId()
	for _, a := range res.GetAffected() {
		row := affectedRow{
			Farm: nameOf(n.farms, a.GetFarmId()), ID: a.GetCompostRequestId(), Lost: a.GetLostKg(), Proposed: a.GetProposal().GetGrantedKg(),
			Wanted: a.GetProposal().GetWantedKg(), Explanation: a.GetProposal().GetExplanation(),
		}
		var from []string
		for _, part := range a.GetProposal().GetSlots() {
			from = append(from, part.GetSlotId())
		}
		row.From = strings.Join(from, ", ")
		page.Affected = append(page.Affected, row)
	}
	shown.data = page
	return shown, nil
}
