package server

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/saving"
)

// RequestCompost implements CompostLotService.
func (s *Server) RequestCompost(ctx context.Context, req *compostlotv1.RequestCompostRequest) (*compostlotv1.CompostRequest, error) {
	asked := []*compostlotv1.CompostRequest{req.GetCompostRequest()}
	rows, err := s.readRequests(ctx, asked, only("compost_request"))
	if err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.CompostRequest{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.CompostRequest, error) {
		saved, err := s.saveRequests(ctx, tx, asked, rows, only("compost_request"))
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// BatchRequestCompost implements CompostLotService.
func (s *Server) BatchRequestCompost(ctx context.Context, req *compostlotv1.BatchRequestCompostRequest) (*compostlotv1.BatchRequestCompostResponse, error) {
	rows, err := s.readRequests(ctx, req.GetCompostRequests(), list("compost_requests"))
	if err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.BatchRequestCompostResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.BatchRequestCompostResponse, error) {
		saved, err := s.saveRequests(ctx, tx, req.GetCompostRequests(), rows, list("compost_requests"))
		return &compostlotv1.BatchRequestCompostResponse{CompostRequests: saved}, err
	})
}

// readRequests reads what is asked for and makes sure that the farms, rooms and crops are known.
func (s *Server) readRequests(ctx context.Context, asked []*compostlotv1.CompostRequest, at place) ([]store.Request, error) {
	rows := make([]store.Request, len(asked))
	crops := map[string]time.Time{}
	for i, m := range asked {
		var err error
		if err = ownFarm(ctx, at(i)+"farm_id", m.GetFarmId()); err != nil {
			return nil, err
		}
		if rows[i], err = requestRow(at(i), m); err != nil {
			return nil, err
		}
		if id := rows[i].CropID; id != "" {
			crops[id] = rows[i].Earliest
		}
	}
	id := func(i int) string { return rows[i].ID }
	if err := noDuplicates(len(rows), id, at, "compost_request_id"); err != nil {
		return nil, err
	}
	return rows, s.o.Members.Learn(ctx, members.Wanted{
		Farms: ids(rows, func(r store.Request) string { return r.FarmID }),
		Rooms: ids(rows, func(r store.Request) string { return r.RoomID }),
		Crops: crops,
	})
}

func requestRow(path string, m *compostlotv1.CompostRequest) (store.Request, error) {
	earliest, err := date(path+"earliest_date", m.GetEarliestDate())
	if err != nil {
		return store.Request{}, err
	}
	latest, err := date(path+"latest_date", m.GetLatestDate())
	if err != nil {
		return store.Request{}, err
	}
	if latest.Before(earliest) {
		return store.Request{}, fault.InvalidField(path+"latest_date", "%s lies before earliest_date %s: exchange them", m.GetLatestDate(), m.GetEarliestDate())
	}
	if m.GetSmallestUsefulKg() > m.GetWantedKg() {
		return store.Request{}, fault.InvalidField(path+"smallest_useful_kg", "%d kg is more than the %d kg wanted: lower it, or want more", m.GetSmallestUsefulKg(), m.GetWantedKg())
	}
	row := store.Request{
		ID: m.GetCompostRequestId(), FarmID: m.GetFarmId(), RoomID: m.GetRoomId(), CropID: m.GetCropId(),
		WantedKg: m.GetWantedKg(), SmallestUsefulKg: m.GetSmallestUsefulKg(), WholeFill: m.GetWholeFill(),
		Earliest: earliest, Latest: latest,
		Phases: convert(m.GetPhases(), func(p typev1.CompostPhase) int16 { return int16(p) }),
	}
	slices.Sort(row.Phases)
	if row.ID == "" {
		if row.ID = row.RoomID + "-" + earliest.Format("20060102"); len(row.ID) > maxID {
			return store.Request{}, fault.InvalidField(path+"compost_request_id", "the id formed from room and first date is longer than %d characters: give one", maxID)
		}
	}
	return row, nil
}

// saveRequests stores requests that are new or changed.
func (s *Server) saveRequests(ctx context.Context, tx pgx.Tx, asked []*compostlotv1.CompostRequest, rows []store.Request, at place) ([]*compostlotv1.CompostRequest, error) {
	if err := store.AwaitRound(ctx, tx); err != nil {
		return nil, err
	}
	spots := convert(rows, func(r store.Request) spot { return spot{farm: r.FarmID, room: r.RoomID, crop: r.CropID} })
	if err := checkPlaces(ctx, tx, spots, at); err != nil {
		return nil, err
	}
	known, err := store.LockRequests(ctx, tx, ids(rows, func(r store.Request) string { return r.ID }))
	if err != nil {
		return nil, err
	}
	by, now := actor(ctx), s.now()
	out := make([]*compostlotv1.CompostRequest, len(rows))
	slots, err := slotsAround(ctx, tx, rows)
	if err != nil {
		return nil, err
	}
	var created, updated []store.Request
	for i, row := range rows {
		old, exists := known[row.ID]
		if exists {
			// Another farm's request must not be read through its error.
			if err := ownFarm(ctx, at(i)+"compost_request_id", old.FarmID); err != nil {
				return nil, err
			}
		}
		sent := asked[i].GetEtag()
		row.AskedAt, row.Change = now, old.Next(by, now)
		switch {
		case !exists && sent != "":
			return nil, missing(ReasonUnknownAsk, at(i)+"etag", "there is no request %q: leave the etag empty to make it", row.ID)
		case exists && sent == "" && sameRequest(old, row):
			out[i] = requestMessage(old)
			continue
		case exists && sent != saving.Etag(old.Version):
			return nil, changed(at(i), "request "+row.ID, old.Change)
		case exists && old.RoundID != "":
			return nil, precondition(ReasonGranted, at(i)+"compost_request_id", "request %q got its share in %s: make a new request for more", row.ID, old.RoundID)
		case exists:
			updated = append(updated, row)
		default:
			created = append(created, row)
		}
		if err := notTooLate(row, slots, at(i)); err != nil {
			return nil, err
		}
		out[i] = requestMessage(row)
	}
	if err := store.InsertRequests(ctx, tx, created); err != nil {
		return nil, err
	}
	return out, store.UpdateRequests(ctx, tx, updated)
}

// slotsAround returns every slot that any of the requests could take.
func slotsAround(ctx context.Context, tx pgx.Tx, rows []store.Request) ([]store.Slot, error) {
	from, to := rows[0].Earliest, rows[0].Latest
	for _, r := range rows {
		if r.Earliest.Before(from) {
			from = r.Earliest
		}
		if r.Latest.After(to) {
			to = r.Latest
		}
	}
	return store.ListSlots(ctx, tx, from, to, "")
}

// takes reports whether a slot that is not withdrawn lies within the request's dates and phases.
func takes(r store.Request, slot store.Slot) bool {
	return slot.State != store.SlotWithdrawn && !slot.ReadyDate.Before(r.Earliest) && !slot.ReadyDate.After(r.Latest) && slices.Contains(r.Phases, slot.Phase)
}

// notTooLate refuses a request when slots that it would take are published and the cut-off of
// each has passed. Where none is published yet, it waits for one.
func notTooLate(r store.Request, slots []store.Slot, path string) error {
	var last time.Time
	for _, slot := range slots {
		if takes(r, slot) && slot.RequestCutoff.After(last) {
			last = slot.RequestCutoff
		}
	}
	if last.IsZero() || !r.AskedAt.After(last) {
		return nil
	}
	return precondition(ReasonTooLate, path+"latest_date", "requests for the slots of these days and phases closed at %s: ask for later days",
		last.UTC().Format("2006-01-02 15:04 UTC"))
}

func sameRequest(a, b store.Request) bool {
	return a.FarmID == b.FarmID && a.RoomID == b.RoomID && a.CropID == b.CropID && a.WantedKg == b.WantedKg &&
		a.SmallestUsefulKg == b.SmallestUsefulKg && a.WholeFill == b.WholeFill &&
		a.Earliest.Equal(b.Earliest) && a.Latest.Equal(b.Latest) && slices.Equal(a.Phases, b.Phases)
}

// ListCompostRequests implements CompostLotService.
func (s *Server) ListCompostRequests(ctx context.Context, req *compostlotv1.ListCompostRequestsRequest) (*compostlotv1.ListCompostRequestsResponse, error) {
	farmID := req.GetFarmId()
	if id := identity.Must(ctx); id.Role == identity.Grower {
		if farmID == "" {
			farmID = id.FarmID
		}
		if err := ownFarm(ctx, "farm_id", farmID); err != nil {
			return nil, err
		}
	}
	resp := &compostlotv1.ListCompostRequestsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := store.ListRequests(ctx, tx, farmID)
		if err != nil {
			return err
		}
		shares, parts, err := store.ListShares(ctx, tx, farmID)
		if err != nil {
			return err
		}
		resp.CompostRequests, resp.Shares = convert(rows, requestMessage), shareMessages(shares, parts)
		return nil
	})
}

func requestMessage(r store.Request) *compostlotv1.CompostRequest {
	return &compostlotv1.CompostRequest{
		CompostRequestId: r.ID, FarmId: r.FarmID, RoomId: r.RoomID, CropId: r.CropID, WantedKg: r.WantedKg,
		SmallestUsefulKg: r.SmallestUsefulKg, WholeFill: r.WholeFill,
		EarliestDate: dateText(r.Earliest), LatestDate: dateText(r.Latest),
		Phases: convert(r.Phases, func(p int16) typev1.CompostPhase { return typev1.CompostPhase(p) }), Etag: saving.Etag(r.Version),
	}
}
