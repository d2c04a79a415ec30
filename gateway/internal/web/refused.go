package web

import (
	"context"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/identity"
)

// refusedPage is what instruments published and could not be used, by where they are.
type refusedPage struct {
	Back, BackKey string
	Places        []refusedPlace
}

// refusedPlace is the yards, or the rooms.
type refusedPlace struct {
	ID, Key string
	Refused *table // nil where there is nothing
}

// showRefused lists readings that were refused, newest first: those of the visitor's farm or yard,
// and of both kinds for who sees the whole co-op.
func (p *Pages) showRefused(v *visit, _ *form) (view, error) {
	var yards, rooms []*typev1.RefusedReading
	grower, manager := v.who.Role == identity.Grower, v.who.Role == identity.YardManager
	err := together(v.ctx,
		func(ctx context.Context) error {
			if grower {
				return nil
			}
			res, err := p.compostlot.ListRefusedReadings(ctx, &compostlotv1.ListRefusedReadingsRequest{YardId: v.who.YardID})
			yards = res.GetRefused()
			return err
		},
		func(ctx context.Context) error {
			if manager {
				return nil
			}
			res, err := p.harvest.ListRefusedReadings(ctx, &harvestv1.ListRefusedReadingsRequest{FarmId: v.who.FarmID})
			rooms = res.GetRefused()
			return err
		},
	)
	if err != nil {
		return view{}, err
	}
	page := refusedPage{Back: "/lots", BackKey: "lots.title"}
	if grower {
		page.Back, page.BackKey = "/climate", "climate.title"
	} else {
		page.Places = append(page.Places, refusedPlace{"yards", "refused.yards", refusedTable(v, "yards", yards)})
	}
	if !manager {
		page.Places = append(page.Places, refusedPlace{"rooms", "refused.rooms", refusedTable(v, "rooms", rooms)})
	}
	return view{template: "refused", title: "refused.title", data: page}, nil
}

func refusedTable(v *visit, place string, refused []*typev1.RefusedReading) *table {
	if len(refused) == 0 {
		return nil
	}
	t := &table{ID: "refused-" + place, Caption: v.words.T("refused.title") + ": " + v.words.T("refused."+place), Columns: []column{
		{Key: "refused.topic", Name: "topic"}, {Key: "refused.at", Name: "received_at"}, {Key: "refused.payload", Name: "payload"}, {Key: "refused.why", Name: "reason"},
	}}
	for _, r := range refused {
		t.Rows = append(t.Rows, []cell{code(r.GetTopic()), v.instant(r.GetReceivedAt().AsTime()), name(r.GetPayload()), english(r.GetReason())})
	}
	return v.table(t)
}
