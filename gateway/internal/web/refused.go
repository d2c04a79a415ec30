package web

import (
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// refusedPage is what probes of the yards published and could not be used.
type refusedPage struct {
	Refused *table // nil where there is nothing
}

// showRefused lists readings that were refused, newest first.
func (p *Pages) showRefused(v *visit, _ *form) (view, error) {
	res, err := p.compostlot.ListRefusedReadings(v.ctx, &compostlotv1.ListRefusedReadingsRequest{YardId: v.who.YardID})
	if err != nil {
		return view{}, err
	}
	var page refusedPage
	if len(res.GetRefused()) > 0 {
		t := &table{ID: "refused", Caption: v.words.T("refused.title"), Columns: []column{
			{Key: "refused.topic", Name: "topic"}, {Key: "refused.at", Name: "received_at"}, {Key: "refused.payload", Name: "payload"}, {Key: "refused.why", Name: "reason"},
		}}
		for _, r := range res.GetRefused() {
			t.Rows = append(t.Rows, []cell{code(r.GetTopic()), v.instant(r.GetReceivedAt().AsTime()), name(r.GetPayload()), english(r.GetReason())})
		}
		page.Refused = v.table(t)
	}
	return view{template: "refused", title: "refused.title", data: page}, nil
}
