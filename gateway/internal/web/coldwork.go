package web

import (
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// discardReasons are those to choose from, with the keys of their texts.
var discardReasons = []harvestv1.DiscardReason{
	harvestv1.DiscardReason_DISCARD_REASON_DISEASE, harvestv1.DiscardReason_DISCARD_REASON_PEST, harvestv1.DiscardReason_DISCARD_REASON_DAMAGE,
	harvestv1.DiscardReason_DISCARD_REASON_OVERRIPE, harvestv1.DiscardReason_DISCARD_REASON_AGE, harvestv1.DiscardReason_DISCARD_REASON_OTHER,
}

// discarding is the form that throws away some of a lot.
type discarding struct {
	Lot, Name   string
	Form        *form
	Grams, Note input
	Reasons     []stageChoice
}

func discardingOf(v *visit, f *form, lot, product string) discarding {
	d := discarding{Lot: lot, Name: product, Form: f.For("discard-" + lot)}
	d.Grams = newInput(d.Form, "discard-"+lot, "kg", "grams", v.words.T("cold.how_much"), "", v.words.MassUnit())
	d.Note = newInput(d.Form, "discard-"+lot, "text", "note", v.words.T("cold.note"), "", "")
	for _, r := range discardReasons {
		d.Reasons = append(d.Reasons, stageChoice{Value: r.String(), Key: "discard." + strings.ToLower(strings.TrimPrefix(r.String(), "DISCARD_REASON_")), Chosen: d.Form.Value("reason", "") == r.String()})
	}
	return d
}

// storeReading is the form that writes down how warm a store is.
type storeReading struct {
	Store, Name string
	Form        *form
	Degrees     input
}

func storeReadingOf(v *visit, f *form, store *harvestv1.ColdStore) storeReading {
	id := "read-" + store.GetStoreId()
	r := storeReading{Store: store.GetStoreId(), Name: store.GetName(), Form: f.For(id)}
	r.Degrees = newInput(r.Form, id, "kg", "degrees", v.words.T("cold.degrees"), "", v.words.DegreeUnit())
	return r
}

// newStore is the form that adds a cold store.
type newStore struct {
	Farm     string
	Form     *form
	ID, Name input
}

func newStoreOf(v *visit, f *form, farm string) newStore {
	s := newStore{Farm: farm, Form: f.For("store")}
	s.ID = newInput(s.Form, "store", "text", "store_id", v.words.T("cold.store_id"), "", "")
	s.Name = newInput(s.Form, "store", "text", "name", v.words.T("cold.store_name"), "", "")
	return s
}

// saveStore adds a cold store to the farm.
func (p *Pages) saveStore(v *visit) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	_, err = p.harvest.SaveColdStore(v.ctx, &harvestv1.SaveColdStoreRequest{RequestId: v.r.PostFormValue("request_id"), Store: &harvestv1.ColdStore{
		StoreId: v.text("store_id"), FarmId: farm, Name: v.text("name"),
	}})
	return view{goTo: "/cold?done=store" + farmQuery(v)}, err
}

// readStore writes down how warm a store is now.
func (p *Pages) readStore(v *visit) (view, error) {
	degrees, ok := signedThousandths(v.r.PostFormValue("degrees"))
	if !ok {
		return view{}, fault.InvalidField("degrees", "%s", v.words.T("problem.degrees", v.r.PostFormValue("degrees")))
	}
	tenths := nearest(v.words.Celsius(degrees), 100)
	_, err := p.harvest.RecordStoreReadings(v.ctx, &harvestv1.RecordStoreReadingsRequest{
		RequestId: v.r.PostFormValue("request_id"), StoreId: v.r.PostFormValue("store"), Readings: []*harvestv1.StoreReading{{Time: timestamppb.New(v.now), AirTenthsC: tenths}},
	})
	return view{goTo: "/cold?done=read" + farmQuery(v)}, err
}

// discard throws away some of a lot.
func (p *Pages) discard(v *visit) (view, error) {
	grams, err := v.grams("grams")
	if err != nil {
		return view{}, err
	}
	_, err = p.harvest.RecordDiscard(v.ctx, &harvestv1.RecordDiscardRequest{RequestId: v.r.PostFormValue("request_id"), Discard: &harvestv1.Discard{
		PickLotId: v.r.PostFormValue("lot"), Grams: grams, Reason: harvestv1.DiscardReason(harvestv1.DiscardReason_value[v.r.PostFormValue("reason")]), Note: v.text("note"),
	}})
	return view{goTo: "/cold?done=discarded" + farmQuery(v)}, err
}
