package web

import (
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

// showOpenLot shows the form that begins a lot.
func (p *Pages) showOpenLot(v *visit, f *form) (view, error) {
	page := openLotPage{
		Form: f, ID: newInput(f, "open", "text", "lot_id", v.words.T("lotwork.lot_id"), "", ""), Slot: newInput(f, "open", "text", "slot_id", v.words.T("lotwork.slot"), v.r.FormValue("slot"), ""),
		Started: newInput(f, "open", "date", "started_date", v.words.T("lot.begun"), v.today(0), ""), Made: newInput(f, "open", "whole", "made_kg", v.words.T("lotwork.made"), "", v.words.MassUnit()),
		Phase: f.Value("phase", "two"),
	}
	return view{template: "openlot", title: "lotwork.open", data: page}, nil
}

// openLotPage is the form that begins a lot.
type openLotPage struct {
	Form                    *form
	ID, Slot, Started, Made input
	Phase                   string
}

// openLot begins a lot of the visitor's yard.
func (p *Pages) openLot(v *visit) (view, error) {
	made, err := v.kilograms("made_kg")
	if err != nil {
		return view{}, err
	}
	phase := phaseWords[v.r.PostFormValue("phase")]
	if phase == typev1.CompostPhase_COMPOST_PHASE_UNSPECIFIED {
		phase = typev1.CompostPhase_COMPOST_PHASE_TWO
	}
	lot, err := p.compostlot.OpenLot(v.ctx, &compostlotv1.OpenLotRequest{RequestId: v.r.PostFormValue("request_id"), Lot: &compostlotv1.Lot{
		LotId: strings.TrimSpace(v.r.PostFormValue("lot_id")), YardId: v.who.YardID, SlotId: strings.TrimSpace(v.r.PostFormValue("slot_id")),
		StartedDate: v.r.PostFormValue("started_date"), MadeKg: made, Phase: phase,
	}})
	if err != nil {
		return view{}, err
	}
	return view{goTo: lotPath(lot.GetLotId()) + "/work"}, nil
}
