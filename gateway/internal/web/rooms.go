package web

import (
	"context"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
)

// ahead is how many days a room's next crop can lie ahead.
const ahead = 180

// roomsPage is every room of a farm with where its crop stands.
type roomsPage struct {
	Farm  string
	Today string
	// Query and More keep the farm that an office looks at, in an address without and with other
	// fields.
	Query, More string
	Form        *form
	Done        string
	Rooms       []roomCard
	Asked       []askedRow
	// NoAdvice tells that advice on the end of crops is not to be had just now.
	NoAdvice bool
}

// roomCard is one room.
type roomCard struct {
	ID, Name, Species   string
	Area                int32
	Stage, Since, Until string // key of the step, its days
	Next, NextOn        string
	FirstPick, Free     string
	CropID, Etag        string
	Record              []stageChoice
	RecordForm          *form
	Date                input
	NextFill            string
	Advice              *endAdvice

	Ask                          *form
	AskFor, Least, First, Latest input
}

// stageChoice is a step that can be recorded.
type stageChoice struct {
	Value, Key string
	Chosen     bool
}

// showRooms shows the rooms of the grower's farm.
func (p *Pages) showRooms(v *visit, f *form) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	page := roomsPage{Farm: farm, Today: v.today(0), Form: f, Done: v.r.URL.Query().Get("done"), More: farmQuery(v)}
	page.Query = strings.Replace(page.More, "&", "?", 1)
	var (
		rooms *schedulingv1.ListRoomsResponse
		crops *schedulingv1.GetCalendarResponse
		ends  *harvestv1.AdviseEndResponse
		asked *compostlotv1.ListCompostRequestsResponse
	)
	err = together(v.ctx,
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{FarmId: farm}),
		ask(&crops, p.scheduling.GetCalendar, &schedulingv1.GetCalendarRequest{FromDate: page.Today, ToDate: addDays(page.Today, ahead), FarmId: farm}),
		func(ctx context.Context) (err error) {
			// Advice is a help: without it the rooms are shown all the same, and say so.
			if ends, err = p.harvest.AdviseEnd(ctx, &harvestv1.AdviseEndRequest{}); err != nil {
				p.log.WarnContext(ctx, "no advice", "error", err)
				page.NoAdvice = true
			}
			return nil
		},
		ask(&asked, p.compostlot.ListCompostRequests, &compostlotv1.ListCompostRequestsRequest{FarmId: farm}),
	)
	if err != nil {
		return view{}, err
	}
	advice := adviceByCrop(v, ends)
	for _, room := range rooms.GetRooms() {
		card := roomCardOf(v, f, room, crops.GetCrops(), page.Today)
		card.Advice = advice[card.CropID]
		page.Rooms = append(page.Rooms, card)
	}
	n := names{rooms: byID(rooms.GetRooms(), (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)}
	page.Asked = askedRows(asked.GetCompostRequests(), asked.GetShares(), n, func(r *compostlotv1.CompostRequest) bool { return r.GetFarmId() == farm })
	return view{template: "rooms", title: "rooms.title", data: page}, nil
}

func roomCardOf(v *visit, f *form, room *schedulingv1.Room, crops []*schedulingv1.Crop, today string) roomCard {
	crop := cropOn(crops, room.GetRoomId(), today)
	stage, next := stageOn(crop, today), nextStage(crop, today)
	card := roomCard{
		ID: room.GetRoomId(), Name: room.GetName(), Area: room.GetAreaM2(), Species: crop.GetSpecies(), CropID: crop.GetCropId(), Etag: crop.GetEtag(),
		Stage: stageKey(stage), Since: stage.GetStartDate(), Until: stage.GetEndDate(), FirstPick: crop.GetFirstPickDate(), Free: crop.GetFreeDate(),
	}
	if next != nil {
		card.Next, card.NextOn = stageKey(next), next.GetStartDate()
	}
	for _, c := range crops {
		if c.GetRoomId() == room.GetRoomId() && c.GetFillDate() > today && (card.NextFill == "" || c.GetFillDate() < card.NextFill) {
			card.NextFill = c.GetFillDate()
		}
	}
	card.RecordForm = f.For("stage-" + room.GetRoomId())
	if f.Stale {
		card.RecordForm.Stale = true
	}
	chosen := card.RecordForm.Value("kind", next.GetKind().String())
	for _, s := range crop.GetStages() {
		if s.GetActualStartDate() == "" {
			card.Record = append(card.Record, stageChoice{Value: s.GetKind().String(), Key: stageKey(s), Chosen: s.GetKind().String() == chosen})
		}
	}
	card.Date = newInput(card.RecordForm, "stage-"+room.GetRoomId(), "date", "date", v.words.T("rooms.began_on"), today, "")
	card.ask(v, f, today)
	return card
}

// ask makes the form that asks for compost, for when the room is free.
func (card *roomCard) ask(v *visit, f *form, today string) {
	id := "ask-" + card.ID
	card.Ask = f.For(id)
	from := card.Free
	if from == "" || from < today {
		from = today
	}
	card.AskFor = newInput(card.Ask, id, "whole", "wanted_kg", v.words.T("rooms.wanted"), "", v.words.MassUnit())
	card.Least = newInput(card.Ask, id, "whole", "smallest_useful_kg", v.words.T("rooms.least"), "", v.words.MassUnit())
	card.First = newInput(card.Ask, id, "date", "earliest_date", v.words.T("rooms.first"), from, "")
	card.Latest = newInput(card.Ask, id, "date", "latest_date", v.words.T("rooms.latest"), addDays(from, 7), "")
}

// recordStage records the day on which a step really began.
func (p *Pages) recordStage(v *visit) (view, error) {
	kind, ok := schedulingv1.StageKind_value[v.r.PostFormValue("kind")]
	if !ok || kind == 0 {
		return view{}, fault.InvalidField("kind", "%s", v.words.T("rooms.choose_stage"))
	}
	_, err := p.scheduling.RecordStage(v.ctx, &schedulingv1.RecordStageRequest{
		RequestId: v.r.PostFormValue("request_id"), CropId: v.r.PostFormValue("crop"), Kind: schedulingv1.StageKind(kind),
		Date: v.r.PostFormValue("date"), Etag: v.r.PostFormValue("etag"),
	})
	if err != nil {
		return view{}, err
	}
	return view{goTo: "/rooms?done=stage" + farmQuery(v)}, nil
}

// askCompost asks the yards for compost for one room.
func (p *Pages) askCompost(v *visit) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	r := &compostlotv1.CompostRequest{
		FarmId: farm, RoomId: v.r.PostFormValue("room"), EarliestDate: v.r.PostFormValue("earliest_date"), LatestDate: v.r.PostFormValue("latest_date"),
		WholeFill: v.r.PostFormValue("whole_fill") != "",
	}
	if r.WantedKg, err = v.kilograms("wanted_kg"); err != nil {
		return view{}, err
	}
	if r.SmallestUsefulKg, err = v.kilograms("smallest_useful_kg"); err != nil {
		return view{}, err
	}
	for _, phase := range v.r.PostForm["phase"] {
		r.Phases = append(r.Phases, typev1.CompostPhase(typev1.CompostPhase_value["COMPOST_PHASE_"+strings.ToUpper(phase)]))
	}
	if _, err := p.compostlot.RequestCompost(v.ctx, &compostlotv1.RequestCompostRequest{RequestId: v.r.PostFormValue("request_id"), CompostRequest: r}); err != nil {
		return view{}, err
	}
	return view{goTo: "/rooms?done=asked" + farmQuery(v)}, nil
}
