package server

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// place is what an expectation and a weighing have in common: where, what and
// when. path leads to the message that names them.
type place struct{ path, roomID, productID, date string }

// judge finds what is wrong with the places of one request, all of it at once:
// mending a file one line at a time is tedious.
type judge struct {
	ownFarm string // the only farm the caller may touch; empty for all
	facts   store.Facts

	fields    []fault.Field
	notYours  *fault.Error
	unsure    bool       // some refusal rests on copies of what others own
	unsureFor []day.Date // the days on which it does
}

// newJudge reads what harvest knows about the places, under the lock of the
// family tree. The owners' answers, where they were asked, come first.
func (s *Server) newJudge(ctx context.Context, tx pgx.Tx, places []place, a *answers) (*judge, error) {
	rooms := distinct(places, func(p place) string { return p.roomID })
	if a != nil {
		return answeredJudge(ctx, tx, rooms, a)
	}
	f, err := s.known.of(ctx, tx, rooms)
	if err != nil {
		return nil, err
	}
	return judgeBy(ctx, f), nil
}

func judgeBy(ctx context.Context, f store.Facts) *judge {
	return &judge{ownFarm: ownFarm(ctx), facts: f}
}

func answeredJudge(ctx context.Context, tx pgx.Tx, rooms []string, a *answers) (*judge, error) {
	if err := store.LockTree(ctx, tx, true); err != nil {
		return nil, err
	}
	if err := a.keep(ctx, tx); err != nil {
		return nil, err
	}
	f, err := store.ReadFacts(ctx, tx, rooms)
	if err != nil {
		return nil, err
	}
	for _, r := range a.rooms {
		f.Rooms[r.ID] = r
	}
	for _, p := range a.products {
		f.Products[p.ID] = p
	}
	return judgeBy(ctx, f), nil
}

func distinct(places []place, field func(place) string) []string {
	seen := map[string]bool{}
	var out []string
	for _, p := range places {
		if v := field(p); !seen[v] {
			seen[v] = true
			out = append(out, v)
		}
	}
	return out
}

// refuse notes what is wrong with a field.
func (j *judge) refuse(path, format string, args ...any) {
	if len(j.fields) < fault.MaxFields {
		j.fields = append(j.fields, fault.Field{Path: path, Description: fmt.Sprintf(format, args...)})
	}
}

// doubt is refuse for what rests on copies.
func (j *judge) doubt(on day.Date, path, format string, args ...any) {
	j.unsure = true
	j.unsureFor = append(j.unsureFor, on)
	j.refuse(path, format, args...)
}

// lot returns the pick lot of a place, without its origin. It is of use only
// when nothing was refused.
func (j *judge) lot(p place) store.PickLot {
	on, err := day.Parse(p.date)
	if err != nil {
		j.refuse(p.path+".date", "%v", err)
		return store.PickLot{}
	}
	product, productKnown := j.facts.Products[p.productID]
	if !productKnown {
		j.doubt(on, p.path+".product_id", "the co-op has no product %s: take an id from the list of products, or save the product first", p.productID)
	}
	room, ok := j.facts.Rooms[p.roomID]
	if !ok {
		j.doubt(on, p.path+".room_id", "the co-op has no room %s: take an id from the list of rooms, or save the room first", p.roomID)
		return store.PickLot{}
	}
	if j.ownFarm != "" && room.FarmID != j.ownFarm {
		if j.notYours == nil {
			j.notYours = fault.New(fault.Forbidden, ReasonNotYours, "room %s belongs to farm %s and you stand for farm %s: leave it to that farm or to the coordinator", room.ID, room.FarmID, j.ownFarm)
		}
		j.notYours = j.notYours.WithField(p.path+".room_id", "the room belongs to farm %s", room.FarmID)
		return store.PickLot{}
	}
	crop, ok := j.facts.Book.CropOn(p.roomID, on)
	switch {
	case !ok:
		j.doubt(on, p.path+".date", "no crop stands in room %s on %s: correct the day or the room, or plan the crop first", p.roomID, on)
	case productKnown && !sameWords(crop.Species, product.Species):
		j.doubt(on, p.path+".product_id", "product %s is %s, but crop %s in room %s bears %s: choose a product of that species", p.productID, product.Species, crop.ID, p.roomID, crop.Species)
	case productKnown && !j.facts.Crops[crop.ID].Growing().CanBear(product.PickStage):
		j.doubt(on, p.path+".product_id", "product %s is picked %s, but crop %s in room %s is borne %s: choose a product of such a stage, or change the programme",
			p.productID, product.PickStage, crop.ID, p.roomID, strings.Join(j.facts.Crops[crop.ID].Growing().Stages(), ", "))
	}
	return store.PickLot{RoomID: p.roomID, ProductID: p.productID, Day: on, FarmID: room.FarmID}
}

// sameWords compares what people wrote, whatever the case and the spaces.
func sameWords(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// verdict is nil when nothing was refused, and else a *fault.Error, or an
// *unsure where the owners' word could change it.
func (j *judge) verdict() error {
	if j.notYours != nil {
		return j.notYours
	}
	if len(j.fields) == 0 {
		return nil
	}
	refusal := fault.InvalidField(j.fields[0].Path, "%s", j.fields[0].Description)
	for _, f := range j.fields[1:] {
		refusal = refusal.WithField(f.Path, "%s", f.Description)
	}
	if j.unsure {
		return &unsure{refusal: refusal, days: j.unsureFor}
	}
	return refusal
}
