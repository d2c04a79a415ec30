package web

import (
	"fmt"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// moveCrop plans a crop that has not begun for another day, all that waits for it with it.
func (p *Pages) moveCrop(v *visit) (view, error) {
	_, err := p.scheduling.MoveCrop(v.ctx, &schedulingv1.MoveCropRequest{
		RequestId: v.r.PostFormValue("request_id"), CropId: v.r.PostFormValue("crop"), FillDate: v.r.PostFormValue("fill_date"), Etag: v.r.PostFormValue("etag"),
		BeyondSlots: v.r.PostFormValue("beyond_slots") != "",
	})
	return view{goTo: "/quarter?moved=1"}, err
}

// shiftOverdue lets all that is overdue begin today at the earliest.
func (p *Pages) shiftOverdue(v *visit) (view, error) {
	res, err := p.scheduling.ShiftOverdue(v.ctx, &schedulingv1.ShiftOverdueRequest{RequestId: v.r.PostFormValue("request_id")})
	return view{goTo: fmt.Sprintf("/quarter?moved=%d", len(res.GetCrops()))}, err
}

// hidden tells what is wrong with a field that nobody sees with the form as a whole.
func hidden(string) string { return "" }
