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
	crops    map[string]*neighbours
}

// neighbours are the crops of one room, with their dates.
type neighbours struct {
	crops     []calendar.Crop
	calendars []calendar.Calendar
}

func (s *Server) newPlanner(ctx context.Context, tx pgx.Tx, plans []*schedulingv1.CropPlan) (*planner, error) {
	p := &planner{s: s, tx: tx, pinned: map[string]*programme.Programme{}, crops: map[string]*neighbours{}}
	var err error
	if p.rooms, err = store.LockRooms(ctx, tx, each(plans, (*schedulingv1.CropPlan).GetRoomId)); err != nil {
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

// loadNeighbours loads the crops of the rooms, and those that have a wanted id.
func (p *planner) loadNeighbours(ctx context.Context, drafts []draft) error {
	first := slices.MinFunc(drafts, func(a, b draft) int { return a.crop.Fill.Sub(b.crop.Fill) }).crop.Fill
	standing, err := store.ListRoomCrops(ctx, p.tx, each(drafts, func(d draft) string { return d.crop.RoomID }), first.Add(-lookBack))
	if err != nil {
		return err
	}
	if p.stored, err = store.GetCrops(ctx, p.tx, each(drafts, func(d draft) string { return d.crop.ID })); err != nil {
		return err
	}
	all := slices.Clone(standing)
	for _, c := range p.stored {
		all = append(all, c)
	}
	if p.versions, err = programmesOf(ctx, p.tx, all); err != nil {
		return err
	}
	for _, c := range standing {
		rules := rulesCrop(c, p.versions[c.Programme])
		dates, err := calendar.Compute(rules, nil)
		if err != nil {
			return err
		}
		p.add(c.RoomID, rules, dates)
	}
	return nil
}

// programmesOf reads the programme versions of the crops.
func programmesOf(ctx context.Context, db pg.DB, crops []store.Crop) (map[store.ProgrammeKey]*programme.Programme, error) {
	keys := each(crops, func(c store.Crop) store.ProgrammeKey { return c.Programme })
	slices.SortFunc(keys, func(a, b store.ProgrammeKey) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Version, b.Version))
	})
	return store.GetProgrammes(ctx, db, slices.Compact(keys))
}

func (p *planner) add(roomID string, crop calendar.Crop, dates calendar.Calendar) {
	n := p.crops[roomID]
	if n == nil {
		n = &neighbours{}
		p.crops[roomID] = n
	}
	n.crops, n.calendars = append(n.crops, crop), append(n.calendars, dates)
}

// meet refuses a draft that would hold its room on days on which another crop
// holds it. Crops that clash with each other since one came late are not its
// business.
func (p *planner) meet(d draft) error {
	n := p.crops[d.crop.RoomID]
	if n == nil {
		return nil
	}
	crops := append(slices.Clone(n.crops), d.rules)
	calendars := append(slices.Clone(n.calendars), d.calendar)
	for _, c := range calendar.Conflicts(crops, calendars, nil) {
		if c.First == d.crop.ID || c.Second == d.crop.ID {
			return takenFault(c, d.dateAt)
		}
	}
	return nil
}
