package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// planner holds what one batch of plans meets: the rooms, which it has locked, the
// programmes, and the crops that stand or are planned in those rooms.
type planner struct {
	s        *Server
	tx       pgx.Tx
	rooms    map[string]store.Room
	newest   map[string]store.ProgrammeVersion
	pinned   map[string]*programme.Programme // by id, once a plan of the batch uses it
	versions map[store.ProgrammeKey]*programme.Programme
	stored   map[string]store.Crop // crops whose ids the plans want
	places   []store.Facility      // locked
	rules    *calendar.Rules       // the co-op's working days
	standing
}

func (s *Server) newPlanner(ctx context.Context, tx pgx.Tx, plans []*schedulingv1.CropPlan) (*planner, error) {
	p := &planner{s: s, tx: tx, pinned: map[string]*programme.Programme{}}
	var err error
	if p.rooms, err = store.LockRooms(ctx, tx, each(plans, (*schedulingv1.CropPlan).GetRoomId)); err != nil {
		return nil, err
	}
	if p.places, err = store.LockFacilities(ctx, tx); err != nil {
		return nil, err
	}
	if p.rules, err = workingRules(ctx, tx); err != nil {
		return nil, err
	}
	p.newest, err = s.newestProgrammes(ctx, tx)
	return p, err
}

// programme is the newest version under the id, which must suit the room.
func (p *planner) programme(ctx context.Context, id string, room store.Room, path string) (*programme.Programme, error) {
	newest, ok := p.newest[id]
	if !ok {
		return nil, unknown("PROGRAMME", id, path+".programme_id", "list the programmes for those there are, or save it first")
	}
	if newest.System != room.System {
		return nil, fault.New(fault.Precondition, "SYSTEM_DOES_NOT_FIT", "%s.programme_id: programme %q is for %s, but room %q has %s; choose another programme or room", path, id, newest.System, room.ID, room.System).
			WithField(path+".programme_id", "is for %s; room %q has %s", newest.System, room.ID, room.System).
			WithMeta("programmeSystem", string(newest.System)).WithMeta("roomSystem", string(room.System))
	}
	if pinned, ok := p.pinned[id]; ok {
		return pinned, nil
	}
	pinned, err := p.s.pin(ctx, p.tx, newest)
	if err == nil {
		p.pinned[id] = pinned
	}
	return pinned, err
}

// lookBack is how far before the first plan crops are loaded, in days: a crop can
// stand for about a year, and the search for the least move goes a year both ways.
const lookBack = 800

// loadNeighbours loads the crops of the rooms and of the facilities that the
// drafts may pass through, and those that have a wanted id.
func (p *planner) loadNeighbours(ctx context.Context, drafts []draft) error {
	first := slices.MinFunc(drafts, func(a, b draft) int { return a.crop.Fill.Sub(b.crop.Fill) }).crop.Fill
	rooms := each(drafts, func(d draft) string { return d.crop.RoomID })
	facilities := each(p.places, func(f store.Facility) string { return f.ID })
	all, err := neighbours(ctx, p.tx, rooms, facilities, first.Add(-lookBack))
	if err != nil {
		return err
	}
	if p.stored, err = store.GetCrops(ctx, p.tx, each(drafts, func(d draft) string { return d.crop.ID })); err != nil {
		return err
	}
	known := slices.Clone(all)
	for _, c := range p.stored {
		known = append(known, c)
	}
	if p.versions, err = programmesOf(ctx, p.tx, known); err != nil {
		return err
	}
	return p.stand(all, p.versions, p.rules)
}

// neighbours loads the crops that hold one of the rooms or pass through one of
// the facilities on or after a day, each once.
func neighbours(ctx context.Context, tx pgx.Tx, rooms, facilities []string, from calendar.Date) ([]store.Crop, error) {
	all, err := store.ListRoomCrops(ctx, tx, rooms, from)
	if err != nil || len(facilities) == 0 {
		return all, err
	}
	others, err := store.ListFacilityCrops(ctx, tx, facilities, from)
	if err != nil {
		return nil, err
	}
	there := make(map[string]bool, len(all))
	for _, c := range all {
		there[c.ID] = true
	}
	return append(all, slices.DeleteFunc(others, func(c store.Crop) bool { return there[c.ID] })...), nil
}

// programmesOf reads the programme versions of the crops.
func programmesOf(ctx context.Context, db pg.DB, crops []store.Crop) (map[store.ProgrammeKey]*programme.Programme, error) {
	keys := each(crops, func(c store.Crop) store.ProgrammeKey { return c.Programme })
	slices.SortFunc(keys, func(a, b store.ProgrammeKey) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Version, b.Version))
	})
	return store.GetProgrammes(ctx, db, slices.Compact(keys))
}
