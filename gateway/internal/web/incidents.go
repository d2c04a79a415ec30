package web

import (
	"errors"
	"io"
	"net/http"
	"strings"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// maxPhoto is the largest photo that is taken, in bytes: 2 MiB, as the contract has it.
const maxPhoto = 2 << 20

// roundPage is the order in which a farm's rooms are visited on a day, and what is wrong in them.
type roundPage struct {
	Day, Before, After string
	Form, Report       *form
	Done               string
	Visits             []visitRow
	Cautions           []string
	Incidents          []incidentRow
	Rooms              []roomChoice
	Pests              []pestRow
	Larvae, Sample     input
	Note               input
}

// visitRow is one room in the order of visiting.
type visitRow struct {
	Name, Why string
	Break     int64
	Infected  bool
}

// pestRow is something to look for.
type pestRow struct {
	Name, Signs, Threshold string
	Chosen                 bool
}

// incidentRow is a pest or disease that was reported.
type incidentRow struct {
	ID, Room, Pest, Note, By, At string
	Verdict                      string // key
	Source                       string
	Holds, Photo                 bool
	Close                        *form
	Outcome                      input
}

// showRound shows the order of rooms for a day, to print, and the incidents that are open.
func (p *Pages) showRound(v *visit, f *form) (view, error) {
	farm, day, err := p.farmDay(v)
	if err != nil {
		return view{}, err
	}
	page := roundPage{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Form: f, Report: f.For("report"), Done: v.r.URL.Query().Get("done")}
	var (
		order     *harvestv1.GetRoomOrderResponse
		incidents *harvestv1.ListIncidentsResponse
		pests     *harvestv1.ListPestsResponse
		rooms     *schedulingv1.ListRoomsResponse
	)
	err = together(v.ctx,
		ask(&order, p.harvest.GetRoomOrder, &harvestv1.GetRoomOrderRequest{FarmId: farm, Date: day}),
		ask(&incidents, p.harvest.ListIncidents, &harvestv1.ListIncidentsRequest{FarmId: farm}),
		ask(&pests, p.harvest.ListPests, &harvestv1.ListPestsRequest{}),
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{FarmId: farm}),
	)
	if err != nil {
		return view{}, err
	}
	for _, one := range order.GetVisits() {
		page.Visits = append(page.Visits, visitRow{nameOr(one.GetName(), one.GetRoomId()), one.GetWhy(), int64(one.GetBreakNumber()), one.GetInfected()})
	}
	for _, c := range append(order.GetCautions(), pests.GetCautions()...) {
		page.caution(c.GetText())
	}
	names := byID(rooms.GetRooms(), (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)
	for _, one := range incidents.GetIncidents() {
		page.Incidents = append(page.Incidents, incidentRowOf(v, f, one, names))
	}
	for _, room := range rooms.GetRooms() {
		page.Rooms = append(page.Rooms, roomChoice{room.GetRoomId(), room.GetName(), page.Report.Value("room_id", "") == room.GetRoomId()})
	}
	for _, one := range pests.GetPests() {
		page.Pests = append(page.Pests, pestRow{one.GetName(), one.GetSigns(), one.GetThreshold(), page.Report.Value("pest", "") == one.GetName()})
	}
	page.Larvae = newInput(page.Report, "report", "whole", "larvae", v.words.T("round.larvae"), "", "")
	page.Sample = newInput(page.Report, "report", "whole", "sample_grams", v.words.T("round.sample"), "", "g")
	page.Note = newInput(page.Report, "report", "text", "note", v.words.T("round.note"), "", "")
	return view{template: "round", title: "round.title", data: page}, nil
}

// caution adds a warning once.
func (page *roundPage) caution(text string) {
	for _, known := range page.Cautions {
		if known == text {
			return
		}
	}
	page.Cautions = append(page.Cautions, text)
}

func incidentRowOf(v *visit, f *form, one *harvestv1.Incident, rooms map[string]string) incidentRow {
	row := incidentRow{
		ID: one.GetIncidentId(), Room: nameOf(rooms, one.GetRoomId()), Pest: one.GetPest(), Note: one.GetNote(), By: one.GetReportedBy(),
		At: v.words.Instant(one.GetReportedAt().AsTime(), v.zone), Source: one.GetThresholdSource(), Holds: one.GetHoldLots(), Photo: one.GetHasPhoto(),
		Verdict: "verdict." + strings.ToLower(strings.TrimPrefix(one.GetVerdict().String(), "INCIDENT_VERDICT_")), Close: f.For("close-" + one.GetIncidentId()),
	}
	row.Outcome = newInput(row.Close, "close-"+row.ID, "text", "outcome", v.words.T("round.outcome"), "", "")
	return row
}

// reportIncident reports what was seen in a room, with a photo where one was taken.
func (p *Pages) reportIncident(v *visit) (view, error) {
	incident := &harvestv1.Incident{
		RoomId: v.r.PostFormValue("room_id"), Pest: v.r.PostFormValue("pest"), Note: strings.TrimSpace(v.r.PostFormValue("note")), HoldLots: v.r.PostFormValue("hold_lots") != "",
	}
	larvae, err := v.whole("larvae")
	if err != nil {
		return view{}, err
	}
	sample, err := v.whole("sample_grams")
	if err != nil {
		return view{}, err
	}
	if sample > 0 {
		if larvae > maxCount || sample > maxCount {
			return view{}, fault.InvalidField("larvae", "%s", v.words.T("problem.whole", plain(max(larvae, sample))))
		}
		incident.Counts = []*harvestv1.PestCount{{Larvae: int32(larvae), SampleGrams: int32(sample)}}
	} else if larvae > 0 {
		return view{}, fault.InvalidField("sample_grams", "%s", v.words.T("round.needs_sample"))
	}
	photo, err := v.photo("photo")
	if err != nil {
		return view{}, err
	}
	_, err = p.harvest.ReportIncident(v.ctx, &harvestv1.ReportIncidentRequest{RequestId: v.r.PostFormValue("request_id"), Incident: incident, Photo: photo})
	return view{goTo: "/round?done=reported" + farmQuery(v)}, err
}

// maxCount is the most that the contract takes of larvae, and of grams of a sample.
const maxCount = 100_000

// photo reads an uploaded picture; nil where none was chosen.
func (v *visit) photo(name string) ([]byte, error) {
	file, head, err := v.r.FormFile(name)
	if errors.Is(err, http.ErrMissingFile) || errors.Is(err, http.ErrNotMultipart) {
		return nil, nil
	}
	if err != nil {
		return nil, fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", v.words.T("problem.form")).WithCause(err)
	}
	defer file.Close()
	if head.Size > maxPhoto {
		return nil, fault.New(fault.Invalid, "PHOTO_TOO_LARGE", "%s", v.words.T("round.photo_large"))
	}
	return io.ReadAll(file)
}

// closeIncident ends an incident; the lots that it alone held are free again.
func (p *Pages) closeIncident(v *visit) (view, error) {
	_, err := p.harvest.CloseIncident(v.ctx, &harvestv1.CloseIncidentRequest{
		RequestId: v.r.PostFormValue("request_id"), IncidentId: v.r.PostFormValue("incident"), Outcome: strings.TrimSpace(v.r.PostFormValue("outcome")),
	})
	return view{goTo: "/round?done=closed" + farmQuery(v)}, err
}

// pictures are the kinds of pictures that are served.
var pictures = map[string]string{"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}

// showPhoto serves the photo of an incident.
func (p *Pages) showPhoto(v *visit) (view, error) {
	id := v.r.PathValue("incident")
	res, err := p.harvest.GetIncidentPhoto(v.ctx, &harvestv1.GetIncidentPhotoRequest{IncidentId: id})
	if err != nil {
		return view{}, err
	}
	ending, ok := pictures[res.GetMediaType()]
	if !ok {
		return view{}, fault.New(fault.Internal, "NO_PICTURE", "the photo of an incident is %q", res.GetMediaType())
	}
	return view{file: &schedulingv1.Content{ContentType: res.GetMediaType(), Content: res.GetPhoto(), FileName: id + ending}}, nil
}
