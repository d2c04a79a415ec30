package web

import (
	"context"
	"net/url"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/identity"
)

// lotsPage is the lots of a yard, or of all for the office.
type lotsPage struct {
	Lots          *table // nil where there are none
	MayOpen       bool
	MaySeeRefused bool
}

// lotRow is one lot in the list.
type lotRow struct {
	ID, Yard, Phase, State, Started string
	Made, Remaining                 int64
	Exception                       bool
}

func (p *Pages) showLots(v *visit, _ *form) (view, error) {
	var (
		res *compostlotv1.ListLotsResponse
		n   names
	)
	err := together(v.ctx,
		ask(&res, p.compostlot.ListLots, &compostlotv1.ListLotsRequest{YardId: v.who.YardID}),
		p.naming(&n, yardNames),
	)
	if err != nil {
		return view{}, err
	}
	page := lotsPage{MayOpen: v.who.Role == identity.YardManager, MaySeeRefused: v.who.Role == identity.YardManager || v.who.Role == identity.Coordinator || v.who.Role == identity.Operator}
	if len(res.GetLots()) > 0 {
		page.Lots = lotsTable(v, res.GetLots(), n)
	}
	return view{template: "lots", title: "lots.title", data: page}, nil
}

func lotsTable(v *visit, lots []*compostlotv1.Lot, n names) *table {
	t := &table{ID: "lots", Caption: v.words.T("lots.title"), Columns: []column{
		{Key: "trace.compost_lot", Name: "lot_id"}, {Key: "lots.state", Name: "state"}, {Key: "lots.left", Name: "remaining_kg", Figures: true, Unit: v.words.T("unit.of_bulk")},
		{Key: "lots.made", Name: "made_kg", Figures: true, Unit: v.words.T("unit.of_bulk")}, {Key: "lot.begun", Name: "started_date"}, {Key: "slots.phase", Name: "phase"}, {Key: "trace.yard", Name: "yard"},
	}}
	for _, l := range lots {
		state := v.says(lotStateKey(l.GetState()))
		if l.GetExceptionReason() != "" {
			state = v.says("lots.state_exception", v.words.T(lotStateKey(l.GetState())))
		}
		t.Rows = append(t.Rows, []cell{
			code(l.GetLotId()).to(lotPath(l.GetLotId())), state.strong(), v.tonnes(l.GetRemainingKg()), v.tonnes(l.GetMadeKg()), v.date(l.GetStartedDate()),
			v.says(phaseKey(l.GetPhase())), name(nameOf(n.yards, l.GetYardId())),
		})
	}
	return v.table(t)
}

func lotStateKey(s compostlotv1.LotState) string {
	return "lot_state." + strings.ToLower(strings.TrimPrefix(s.String(), "LOT_STATE_"))
}

// lotPage is all that is known of one lot.
type lotPage struct {
	Lot        lotRow
	Etag       string
	ReleasedBy string
	Exception  string
	HoldReason string
	Slot       string
	Caution    string
	Proven     bool
	Open, Held bool
	Released   bool
	Readings   int64
	Marks      []markRow
	Criteria   []criterionRow
	Deliveries *table // nil where none went
	MayDecide  bool
	MayTrace   bool
	Form       *form

	Release, Hold, Deliver      *form
	By, Reason, HeldBy, HoldWhy input
	Kilograms                   input
	Rooms                       []roomChoice
	At                          string // now, for the delivery

	Charts []lotChart
	// Evidence and Drawn are kept up to date.
	Evidence, Drawn part
	Log             lotLog
	Turn            *form
	Water, Note     input
	TurnKinds       []stageChoice
}

// markRow is an instant in the making of a lot.
type markRow struct{ Key, At string }

// criterionRow is one criterion of the release.
type criterionRow struct{ Requirement, Finding, Why, Source string }

// roomChoice is a room to deliver to.
type roomChoice struct {
	Value, Label string
	Chosen       bool
}

// showLot shows one lot with its evidence.
func (p *Pages) showLot(v *visit, f *form) (view, error) {
	var (
		report *compostlotv1.LotReport
		chart  *compostlotv1.LotChart
		n      names
		rooms  []roomChoice
	)
	err := together(v.ctx,
		ask(&report, p.compostlot.GetLotReport, &compostlotv1.GetLotReportRequest{LotId: v.r.PathValue("lot")}),
		ask(&chart, p.compostlot.GetLotChart, &compostlotv1.GetLotChartRequest{LotId: v.r.PathValue("lot"), Points: chartPoints}),
		p.naming(&n, farmNames|yardNames),
		func(ctx context.Context) (err error) {
			rooms, err = p.roomChoices(ctx)
			return err
		},
	)
	if err != nil {
		return view{}, err
	}
	page := lotPageOf(v, report, n)
	page.Charts, page.Log = chartsOf(v, chart), lotLogOf(v, report)
	page.Form = f
	page.MayDecide = v.who.Role == identity.YardManager || v.who.Role == identity.Coordinator
	page.MayTrace = v.who.Role == identity.Coordinator || v.who.Role == identity.Operator
	page.Rooms, page.At = rooms, v.now.Format(time.RFC3339)
	page.forms(v, f)
	if err := p.pieces(v, &page); err != nil {
		return view{}, err
	}
	return view{template: "lot", title: "lot.title", data: page, live: "/live" + lotPath(report.GetLot().GetLotId())}, nil
}

func lotPageOf(v *visit, report *compostlotv1.LotReport, n names) lotPage {
	l := report.GetLot()
	page := lotPage{
		Lot: lotRow{
			ID: l.GetLotId(), Yard: nameOr(report.GetYard().GetName(), nameOf(n.yards, l.GetYardId())), Phase: phaseKey(l.GetPhase()), State: lotStateKey(l.GetState()),
			Started: l.GetStartedDate(), Made: l.GetMadeKg(), Remaining: l.GetRemainingKg(),
		},
		Etag: l.GetEtag(), ReleasedBy: l.GetReleasedBy(), Exception: l.GetExceptionReason(), HoldReason: l.GetHoldReason(), Slot: l.GetSlotId(),
		Caution: report.GetCaution(), Proven: report.GetProven(), Readings: report.GetReadings(),
		Open: l.GetState() == compostlotv1.LotState_LOT_STATE_OPEN, Held: l.GetState() == compostlotv1.LotState_LOT_STATE_HELD, Released: l.GetState() == compostlotv1.LotState_LOT_STATE_RELEASED,
	}
	for _, m := range report.GetMarks() {
		page.Marks = append(page.Marks, markRow{markKey(m.GetMark()), v.words.Instant(m.GetTime().AsTime(), v.zone)})
	}
	for _, c := range report.GetCriteria() {
		page.Criteria = append(page.Criteria, criterionRow{c.GetRequirement(), strings.ToLower(strings.TrimPrefix(c.GetFinding().String(), "FINDING_")), c.GetExplanation(), c.GetSource()})
	}
	if len(report.GetDeliveries()) > 0 {
		t := &table{ID: "deliveries", Caption: v.words.T("lot.went"), Columns: []column{
			{Key: "word.farm", Name: "farm"}, {Key: "word.room", Name: "room_id"}, {Key: "word.day", Name: "date"}, {Key: "lot.kilograms", Name: "delivered_kg", Figures: true, Unit: v.words.MassUnit()},
		}}
		for _, d := range report.GetDeliveries() {
			t.Rows = append(t.Rows, []cell{name(nameOf(n.farms, d.GetFarmId())), code(d.GetRoomId()), v.date(d.GetDate()), v.wholeKg(d.GetDeliveredKg())})
		}
		page.Deliveries = v.table(t)
	}
	return page
}

func (page *lotPage) forms(v *visit, f *form) {
	page.Release, page.Hold, page.Deliver = f.For("release"), f.For("hold"), f.For("deliver")
	page.By = newInput(page.Release, "release", "text", "released_by", v.words.T("lot.released_by"), v.who.Name, "")
	page.Reason = newInput(page.Release, "release", "text", "exception_reason", v.words.T("lot.exception_reason"), "", "")
	page.HeldBy = newInput(page.Hold, "hold", "text", "held_by", v.words.T("lot.held_by"), v.who.Name, "")
	page.HoldWhy = newInput(page.Hold, "hold", "text", "reason", v.words.T("lot.hold_reason"), "", "")
	page.Turn = f.For("turn")
	page.Water = newInput(page.Turn, "turn", "kg", "water", v.words.T("lot.water"), "", v.words.MassUnit())
	page.Note = newInput(page.Turn, "turn", "text", "note", v.words.T("lot.note"), "", "")
	for _, kind := range []string{"wetting", "turn", "move", "supplement"} {
		page.TurnKinds = append(page.TurnKinds, stageChoice{kind, "turn." + kind, page.Turn.Value("kind", "turn") == kind})
	}
	page.Kilograms = newInput(page.Deliver, "deliver", "whole", "delivered_kg", v.words.T("lot.kilograms"), "", v.words.MassUnit())
	for i, room := range page.Rooms {
		page.Rooms[i].Chosen = page.Deliver.Value("room", "") == room.Value
	}
}

func lotAddress(v *visit) string { return lotPath(v.r.PathValue("lot")) }

func lotPath(lot string) string { return "/lots/" + url.PathEscape(lot) }

// releaseLot releases a lot in the name of a person, on evidence or as an exception.
func (p *Pages) releaseLot(v *visit) (view, error) {
	_, err := p.compostlot.ReleaseLot(v.ctx, &compostlotv1.ReleaseLotRequest{
		RequestId: v.r.PostFormValue("request_id"), LotId: v.r.PathValue("lot"), ReleasedBy: strings.TrimSpace(v.r.PostFormValue("released_by")),
		ExceptionReason: strings.TrimSpace(v.r.PostFormValue("exception_reason")), Etag: v.r.PostFormValue("etag"),
	})
	return view{goTo: lotAddress(v)}, err
}

// holdLot stops the deliveries of a lot.
func (p *Pages) holdLot(v *visit) (view, error) {
	_, err := p.compostlot.HoldLot(v.ctx, &compostlotv1.HoldLotRequest{
		RequestId: v.r.PostFormValue("request_id"), LotId: v.r.PathValue("lot"), HeldBy: strings.TrimSpace(v.r.PostFormValue("held_by")), Reason: strings.TrimSpace(v.r.PostFormValue("reason")),
	})
	return view{goTo: lotAddress(v)}, err
}

// deliverLot records that a part of a lot came to a room now.
func (p *Pages) deliverLot(v *visit) (view, error) {
	farm, room, _ := strings.Cut(v.r.PostFormValue("room"), "/")
	kilograms, err := v.kilograms("delivered_kg")
	if err != nil {
		return view{}, err
	}
	_, err = p.compostlot.DeliverLot(v.ctx, &compostlotv1.DeliverLotRequest{
		RequestId: v.r.PostFormValue("request_id"), LotId: v.r.PathValue("lot"), FarmId: farm, RoomId: room, DeliveredKg: kilograms, DeliveredAt: timestamppb.New(v.renderedAt()),
	})
	return view{goTo: lotAddress(v)}, err
}
