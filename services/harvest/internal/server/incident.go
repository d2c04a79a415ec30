package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/hygiene"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/requestlog"
)

// ListPests lists what rooms are watched for.
func (s *Server) ListPests(context.Context, *harvestv1.ListPestsRequest) (*harvestv1.ListPestsResponse, error) {
	resp := &harvestv1.ListPestsResponse{Cautions: cautions()}
	for _, p := range hygiene.Pests() {
		m := &harvestv1.Pest{Name: p.Name, Signs: p.Signs, Source: p.Source}
		if r := p.Rule; r != nil {
			m.Threshold = fmt.Sprintf("%d larvae in %d g of %s cost %g %% of the crop", r.Larvae, r.SampleGrams, r.Of, float64(r.LossPerMille)/10)
		}
		resp.Pests = append(resp.Pests, m)
	}
	return resp, nil
}

func cautions() []*harvestv1.Caution {
	var out []*harvestv1.Caution
	for _, c := range hygiene.Cautions() {
		out = append(out, &harvestv1.Caution{Topic: c.Topic, Text: c.Text})
	}
	return out
}

// photoTypes are the pictures that are kept.
var photoTypes = []string{"image/jpeg", "image/png", "image/webp"}

// ReportIncident keeps what was seen in a room, weighs it, and holds the room's
// lots where it says so.
func (s *Server) ReportIncident(ctx context.Context, req *harvestv1.ReportIncidentRequest) (*harvestv1.ReportIncidentResponse, error) {
	in := req.GetIncident()
	i := slices.IndexFunc(hygiene.Pests(), func(p hygiene.Pest) bool { return sameWords(p.Name, in.GetPest()) })
	if i < 0 {
		return nil, fault.InvalidField("incident.pest", "%q is not watched for: take a name from the list of pests", in.GetPest())
	}
	media := ""
	if photo := req.GetPhoto(); len(photo) > 0 {
		if media = http.DetectContentType(photo); !slices.Contains(photoTypes, media) {
			return nil, fault.InvalidField("photo", "the photo is %s: send a JPEG, PNG or WebP", media)
		}
	}
	seen, err := judged(in, hygiene.Pests()[i])
	if err != nil {
		return nil, err
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &harvestv1.ReportIncidentResponse{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.ReportIncidentResponse, error) {
			seen.ID, seen.ReportedAt, seen.ReportedBy = ids.New(), s.clock.Now(), caller(ctx)
			return s.report(ctx, tx, seen, media, req.GetPhoto())
		})
}

// judged weighs the counts against the economic threshold.
func judged(in *harvestv1.Incident, pest hygiene.Pest) (store.Incident, error) {
	out := store.Incident{
		RoomID: in.GetRoomId(), Pest: pest.Name, CropValue: in.CropValueMinor, ControlCost: in.ControlCostMinor,
		GrowthPerMille: in.GetGrowthPerMille(), Note: strings.TrimSpace(in.GetNote()), Holds: in.GetHoldLots(), Infects: true,
	}
	var larvae, grams int64
	for _, c := range in.GetCounts() {
		out.Counts = append(out.Counts, hygiene.Count{Larvae: int(c.GetLarvae()), SampleGrams: int(c.GetSampleGrams())})
		larvae += int64(c.GetLarvae())
		grams += int64(c.GetSampleGrams())
	}
	rule := pest.Rule
	if rule == nil {
		if len(out.Counts) > 0 {
			return out, fault.InvalidField("incident.counts", "for %s no count in samples is published: say in the note what was seen", pest.Name)
		}
		return out, nil
	}
	if len(out.Counts) == 0 {
		return out, nil // seen and not counted: better safe
	}
	out.ThresholdSource = pest.Source
	// As many larvae per gram as at the published count, or more.
	out.Infects = larvae*int64(rule.SampleGrams) >= int64(rule.Larvae)*grams
	if out.CropValue == nil || out.ControlCost == nil {
		return out, nil
	}
	found, err := rule.Judge(out.Counts, hygiene.Stakes{CropValue: *out.CropValue, ControlCost: *out.ControlCost})
	var wrong *hygiene.CountError
	if errors.As(err, &wrong) {
		return out, fault.InvalidField("incident.crop_value_minor", "%v", err)
	}
	out.ExpectedLoss, out.Verdict = &found.ExpectedLoss, int16(found.Verdict)
	return out, err
}

func (s *Server) report(ctx context.Context, tx pgx.Tx, seen store.Incident, media string, photo []byte) (*harvestv1.ReportIncidentResponse, error) {
	// Alone, so that no lot is being opened that the hold would miss.
	if err := store.LockTree(ctx, tx, seen.Holds); err != nil {
		return nil, err
	}
	rooms, err := store.Rooms(ctx, tx, []string{seen.RoomID})
	if err != nil {
		return nil, err
	}
	room, ok := rooms[seen.RoomID]
	if !ok {
		return nil, fault.InvalidField("incident.room_id", "harvest knows no room %s: take an id from the list of rooms", seen.RoomID)
	}
	if err := checkFarm(ctx, "room "+room.ID, room.FarmID); err != nil {
		return nil, err
	}
	seen.FarmID, seen.HasPhoto = room.FarmID, len(photo) > 0
	if err := store.AddIncident(ctx, tx, seen, media, photo); err != nil {
		return nil, err
	}
	resp := &harvestv1.ReportIncidentResponse{Incident: incidentMessage(seen), Cautions: cautions()}
	if seen.Holds {
		if resp.Held, err = s.holdRoom(ctx, tx, seen); err != nil {
			return nil, err
		}
	}
	return resp, tellIncident(ctx, tx, seen)
}

func tellIncident(ctx context.Context, tx pgx.Tx, i store.Incident) error {
	return outbox.Add(ctx, tx, outbox.Event{
		Thing: "incident", What: "reported", Aggregate: i.ID, Payload: &harvestv1.IncidentReported{Incident: incidentMessage(i)},
	})
}

// holdRoom holds every lot of the room that is still to be sold.
func (s *Server) holdRoom(ctx context.Context, tx pgx.Tx, seen store.Incident) ([]*harvestv1.PickLot, error) {
	cal, err := s.calendar(ctx, tx)
	if err != nil {
		return nil, err
	}
	list, err := store.LockSaleable(ctx, tx, seen.RoomID, cal.today())
	if err != nil {
		return nil, err
	}
	var out []*harvestv1.PickLot
	for _, was := range list {
		if was.OwnHold {
			continue // held by a person already, whose reason stays
		}
		now, err := holdOrFree(was, true, seen.Pest+" in the room", seen.ReportedBy)
		if err != nil {
			return nil, err
		}
		if err := store.SaveLot(ctx, tx, now); err != nil {
			return nil, err
		}
		if err := lots.TellHeld(ctx, tx, now); err != nil {
			return nil, err
		}
		out = append(out, lots.Message(now))
	}
	return out, nil
}

// CloseIncident ends an incident.
func (s *Server) CloseIncident(ctx context.Context, req *harvestv1.CloseIncidentRequest) (*harvestv1.Incident, error) {
	outcome := strings.TrimSpace(req.GetOutcome())
	if outcome == "" {
		return nil, fault.InvalidField("outcome", "say what became of it, for whoever looks at the room next")
	}
	if !ids.Valid(req.GetIncidentId()) {
		return nil, noIncident(req.GetIncidentId())
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &harvestv1.Incident{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.Incident, error) {
			i, ok, err := store.LockIncident(ctx, tx, req.GetIncidentId())
			if err != nil {
				return nil, err
			}
			if !ok {
				return nil, noIncident(req.GetIncidentId())
			}
			if err := checkFarm(ctx, "the room of this incident", i.FarmID); err != nil {
				return nil, err
			}
			if i.ClosedAt != nil {
				return nil, fault.New(fault.Precondition, "CLOSED_ALREADY", "%s closed the incident already: %s", i.ClosedBy, i.Outcome)
			}
			now := s.clock.Now()
			i.ClosedAt, i.ClosedBy, i.Outcome = &now, caller(ctx), outcome
			if err := store.CloseIncident(ctx, tx, i.ID, now, i.ClosedBy, outcome); err != nil {
				return nil, err
			}
			return incidentMessage(i), tellIncident(ctx, tx, i)
		})
}

func noIncident(id string) error {
	return fault.New(fault.NotFound, "NO_INCIDENT", "there is no incident %s: take an id from the list", id)
}

// ListIncidents lists incidents.
func (s *Server) ListIncidents(ctx context.Context, req *harvestv1.ListIncidentsRequest) (*harvestv1.ListIncidentsResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListIncidentsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := store.Incidents(ctx, tx, farm, req.GetRoomId(), req.GetClosedToo())
		for _, i := range list {
			resp.Incidents = append(resp.Incidents, incidentMessage(i))
		}
		return err
	})
	return resp, err
}

// GetIncidentPhoto returns a photo.
func (s *Server) GetIncidentPhoto(ctx context.Context, req *harvestv1.GetIncidentPhotoRequest) (*harvestv1.GetIncidentPhotoResponse, error) {
	if !ids.Valid(req.GetIncidentId()) {
		return nil, noIncident(req.GetIncidentId())
	}
	resp := &harvestv1.GetIncidentPhotoResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		farm, media, photo, err := store.IncidentPhoto(ctx, tx, req.GetIncidentId())
		if err != nil {
			return err
		}
		if len(photo) == 0 {
			return fault.New(fault.NotFound, "NO_PHOTO", "incident %s has no photo", req.GetIncidentId())
		}
		resp.Photo, resp.MediaType = photo, media
		return checkFarm(ctx, "the room of this incident", farm)
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

func incidentMessage(i store.Incident) *harvestv1.Incident {
	m := &harvestv1.Incident{
		IncidentId: i.ID, RoomId: i.RoomID, FarmId: i.FarmID, Pest: i.Pest, CropValueMinor: i.CropValue, ControlCostMinor: i.ControlCost,
		GrowthPerMille: i.GrowthPerMille, Note: i.Note, HoldLots: i.Holds, ReportedAt: timestamppb.New(i.ReportedAt), ReportedBy: i.ReportedBy,
		ExpectedLossMinor: i.ExpectedLoss, Verdict: harvestv1.IncidentVerdict(i.Verdict), ThresholdSource: i.ThresholdSource,
		ClosedBy: i.ClosedBy, Outcome: i.Outcome, HasPhoto: i.HasPhoto,
	}
	if i.ClosedAt != nil {
		m.ClosedAt = timestamppb.New(*i.ClosedAt)
	}
	for _, c := range i.Counts {
		m.Counts = append(m.Counts, &harvestv1.PestCount{Larvae: int32(c.Larvae), SampleGrams: int32(c.SampleGrams)})
	}
	return m
}
