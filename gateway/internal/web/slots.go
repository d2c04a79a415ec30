package web

import (
	"context"
	"net/url"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// slotsAhead is how many days of slots are shown.
const slotsAhead = 91

// slotsPage is the yards' slots and who asked for them.
type slotsPage struct {
	From, To string
	Form     *form
	Confirm  *form
	Done     string
	Slots    []slotRow
	Asked    []askedRow
	Preview  []askedRow
	Previews bool
	MayShare bool
	Open     bool // some slot is still open

	Yard                                   string // the visitor's own, who may publish
	Publish                                *form
	ID, Ready, Capacity, Least, Price, Cut input
	Every, Through                         input

	SlotsFile, AskedFile *table

	Weeks    []slotWeek
	Weekdays []string
	Upload   *form

	Affected     []affectedRow
	WithdrawnNow string // the slot just withdrawn
}

// slotRow is one slot.
type slotRow struct {
	ID, Yard, Ready, Phase string
	Capacity, Free         int64
	FreeBar                int64 // free of capacity, per mille
	Price, Cutoff          string
	Shared, Withdrawn      bool
	Notice, WithdrawnBy    string
	Etag                   string
	Withdraw               *form
	Why                    input
}

// affectedRow is a request that a withdrawn slot touches, and what a new round would give it.
type affectedRow struct {
	Farm, ID, From, Explanation string
	Lost, Proposed, Wanted      int64
}

// askedRow is one request and what it got. Bars are in per mille of the largest request.
type askedRow struct {
	Farm, Room, First, Last   string
	Wanted, Granted           int64
	WantedBar, GrantedBar     int64
	Whole, Decided, InFull    bool
	Explanation, FromSlot, ID string
}

// showSlots shows the slots of the next quarter with who asked for what and got what, and a
// sharing out in preview where one is asked for.
func (p *Pages) showSlots(v *visit, f *form) (view, error) {
	from, err := v.dayOf("from", v.today(0))
	if err != nil {
		return view{}, err
	}
	to, err := v.dayOf("to", addDays(from, slotsAhead))
	if err != nil {
		return view{}, err
	}
	page := slotsPage{
		From: from, To: to, Form: f, Confirm: f.For("confirm"), Done: v.r.URL.Query().Get("done"), Yard: v.who.YardID,
		MayShare: v.who.Role == identity.Coordinator, Previews: v.r.FormValue("preview") != "" && v.who.Role == identity.Coordinator,
	}
	var (
		slots *compostlotv1.ListSlotsResponse
		asked *compostlotv1.ListCompostRequestsResponse
		round *compostlotv1.Round
		n     names
	)
	err = together(v.ctx,
		ask(&slots, p.compostlot.ListSlots, &compostlotv1.ListSlotsRequest{FromDate: from, ToDate: to, YardId: v.who.YardID}),
		ask(&asked, p.compostlot.ListCompostRequests, &compostlotv1.ListCompostRequestsRequest{}),
		func(ctx context.Context) (err error) {
			if page.Previews {
				round, err = p.compostlot.ShareOut(ctx, &compostlotv1.ShareOutRequest{RequestId: newForm().RequestID, FromDate: from, ToDate: to})
			}
			return err
		},
		p.naming(&n, farmNames|roomNames|yardNames),
	)
	if err != nil {
		return view{}, err
	}
	for _, s := range slots.GetSlots() {
		row := slotRowOf(v, s, n)
		row.Withdraw = f.For("withdraw-" + row.ID)
		row.Why = newInput(row.Withdraw, "withdraw-"+row.ID, "text", "notice", v.words.T("slots.notice"), "", "")
		page.Slots = append(page.Slots, row)
		page.Open = page.Open || s.GetState() == compostlotv1.SlotState_SLOT_STATE_OPEN
	}
	inSpan := func(r *compostlotv1.CompostRequest) bool {
		return r.GetEarliestDate() <= to && r.GetLatestDate() >= from
	}
	page.Weeks, page.Weekdays, page.Upload = slotWeeks(page.Slots, from, to), weekdayKeys(), f.For("upload")
	page.Asked = askedRows(asked.GetCompostRequests(), asked.GetShares(), n, inSpan)
	if len(page.Slots) > 0 {
		page.SlotsFile = slotsTable(v, slots.GetSlots(), n)
	}
	if len(page.Asked) > 0 {
		page.AskedFile = askedTable(v, page.Asked)
	}
	if page.Previews {
		page.Preview = askedRows(asked.GetCompostRequests(), round.GetShares(), n, inSpan)
	}
	page.publishForm(v, f)
	return view{template: "slots", title: "slots.title", data: page}, nil
}

func slotRowOf(v *visit, s *compostlotv1.Slot, n names) slotRow {
	row := slotRow{
		ID: s.GetSlotId(), Yard: nameOf(n.yards, s.GetYardId()), Ready: s.GetReadyDate(), Phase: phaseKey(s.GetPhase()),
		Capacity: s.GetCapacityKg(), Free: s.GetFreeKg(), Price: v.words.Money(v.words.PerTonne(s.GetPriceMinorPerTonne()), v.coop.GetCurrencyCode()),
		Cutoff: v.words.Instant(s.GetRequestCutoff().AsTime(), v.zone), Shared: s.GetState() == compostlotv1.SlotState_SLOT_STATE_SHARED,
		Withdrawn: s.GetState() == compostlotv1.SlotState_SLOT_STATE_WITHDRAWN, Notice: s.GetWithdrawalNotice(), WithdrawnBy: s.GetWithdrawnBy(), Etag: s.GetEtag(),
	}
	if row.Capacity > 0 {
		row.FreeBar = row.Free * 1000 / row.Capacity
	}
	return row
}

func phaseKey(phase typev1.CompostPhase) string {
	return "phase." + strings.ToLower(strings.TrimPrefix(phase.String(), "COMPOST_PHASE_"))
}

// askedRows joins requests with their shares.
func askedRows(requests []*compostlotv1.CompostRequest, shares []*compostlotv1.Share, n names, shown func(*compostlotv1.CompostRequest) bool) []askedRow {
	granted := byID(shares, (*compostlotv1.Share).GetCompostRequestId, func(s *compostlotv1.Share) *compostlotv1.Share { return s })
	var largest int64 = 1
	for _, r := range requests {
		largest = max(largest, r.GetWantedKg())
	}
	var rows []askedRow
	for _, r := range requests {
		if !shown(r) {
			continue
		}
		row := askedRow{
			ID: r.GetCompostRequestId(), Farm: nameOf(n.farms, r.GetFarmId()), Room: nameOf(n.rooms, r.GetRoomId()), First: r.GetEarliestDate(), Last: r.GetLatestDate(),
			Wanted: r.GetWantedKg(), WantedBar: r.GetWantedKg() * 1000 / largest, Whole: r.GetWholeFill(),
		}
		if s := granted[r.GetCompostRequestId()]; s != nil {
			row.Decided, row.Granted, row.Explanation = true, s.GetGrantedKg(), s.GetExplanation()
			row.GrantedBar, row.InFull = s.GetGrantedKg()*1000/largest, s.GetGrantedKg() >= s.GetWantedKg()
			var from []string
			for _, part := range s.GetSlots() {
				from = append(from, part.GetSlotId())
			}
			row.FromSlot = strings.Join(from, ", ")
		}
		rows = append(rows, row)
	}
	return rows
}

// confirmShares grants what the preview showed.
func (p *Pages) confirmShares(v *visit) (view, error) {
	from, to := v.r.PostFormValue("from"), v.r.PostFormValue("to")
	_, err := p.compostlot.ShareOut(v.ctx, &compostlotv1.ShareOutRequest{RequestId: v.r.PostFormValue("request_id"), FromDate: from, ToDate: to, Confirm: true})
	if err != nil {
		return view{}, err
	}
	return view{goTo: "/slots?done=shared&from=" + url.QueryEscape(from) + "&to=" + url.QueryEscape(to)}, nil
}

func (page *slotsPage) publishForm(v *visit, f *form) {
	pf := f.For("publish")
	page.Publish = pf
	page.ID = newInput(pf, "publish", "text", "slot_id", v.words.T("slots.id"), "", "")
	page.Ready = newInput(pf, "publish", "date", "ready_date", v.words.T("slots.ready"), "", "")
	page.Capacity = newInput(pf, "publish", "whole", "capacity_kg", v.words.T("slots.capacity"), "", v.words.MassUnit())
	page.Least = newInput(pf, "publish", "whole", "smallest_lot_kg", v.words.T("slots.least"), "", v.words.MassUnit())
	page.Price = newInput(pf, "publish", "kg", "price_minor_per_tonne", v.words.T("slots.price"), "", v.coop.GetCurrencyCode())
	page.Every = newInput(pf, "publish", "whole", "every", v.words.T("slots.every"), "", "")
	page.Through = newInput(pf, "publish", "date", "through_date", v.words.T("slots.through"), "", "")
	page.Cut = newInput(pf, "publish", "date", "request_cutoff", v.words.T("slots.cutoff"), "", "")
}

// publishSlot publishes one slot of the visitor's yard.
func (p *Pages) publishSlot(v *visit) (view, error) {
	s := &compostlotv1.Slot{
		SlotId: v.r.PostFormValue("slot_id"), YardId: v.who.YardID, ReadyDate: v.r.PostFormValue("ready_date"),
		Phase: typev1.CompostPhase(typev1.CompostPhase_value["COMPOST_PHASE_"+strings.ToUpper(v.r.PostFormValue("phase"))]),
	}
	var err error
	if s.CapacityKg, err = v.kilograms("capacity_kg"); err != nil {
		return view{}, err
	}
	if s.SmallestLotKg, err = v.kilograms("smallest_lot_kg"); err != nil {
		return view{}, err
	}
	price, err := v.minor("price_minor_per_tonne")
	if err != nil {
		return view{}, err
	}
	s.PriceMinorPerTonne = v.words.ForTonne(price)
	cutoff, err := time.ParseInLocation(time.DateOnly, v.r.PostFormValue("request_cutoff"), v.zone)
	if err != nil {
		return view{}, fault.InvalidField("request_cutoff", "%s", v.words.T("problem.day", v.r.PostFormValue("request_cutoff")))
	}
	// The last day counts whole.
	s.RequestCutoff = timestamppb.New(cutoff.AddDate(0, 0, 1).Add(-time.Second))
	if through := v.r.PostFormValue("through_date"); through != "" {
		return p.publishSeries(v, s, through)
	}
	if _, err := p.compostlot.PublishSlots(v.ctx, &compostlotv1.PublishSlotsRequest{RequestId: v.r.PostFormValue("request_id"), Slots: []*compostlotv1.Slot{s}}); err != nil {
		return view{}, err
	}
	return view{goTo: "/slots?done=published"}, nil
}
