package genealogy

import (
	"cmp"
	"maps"
	"slices"
	"strings"
)

// Book is the facts known at one moment, laid out for looking up. It is made
// once and not changed; many may read it at once.
type Book struct {
	crops     map[string]Crop
	byRoom    map[string][]Crop     // laterFillFirst
	compost   map[string]Compost    // by id
	underIt   map[string][]Delivery // by crop, by day and id
	delivered []Delivery            // all, by day and id
	standsOn  map[string]string     // delivery id to crop id
}

// New lays out the facts; their order does not matter, and of two facts with
// one id the last counts. A delivery may speak of crops and compost lots that
// are not known.
func New(crops []Crop, deliveries []Delivery, compost []Compost) *Book {
	b := &Book{
		crops: map[string]Crop{}, byRoom: map[string][]Crop{}, compost: map[string]Compost{},
		underIt: map[string][]Delivery{}, standsOn: map[string]string{},
	}
	for _, c := range crops {
		b.crops[c.ID] = c
	}
	for _, c := range b.crops {
		b.byRoom[c.RoomID] = append(b.byRoom[c.RoomID], c)
	}
	for _, list := range b.byRoom {
		slices.SortFunc(list, laterFillFirst)
	}
	for _, c := range compost {
		b.compost[c.ID] = c
	}
	b.layDeliveries(deliveries)
	return b
}

func (b *Book) layDeliveries(deliveries []Delivery) {
	once := map[string]Delivery{}
	for _, d := range deliveries {
		once[d.ID] = d
	}
	b.delivered = slices.SortedFunc(maps.Values(once), func(a, b Delivery) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.ID, b.ID))
	})
	for _, d := range b.delivered {
		if c, ok := b.cropOf(d); ok {
			b.standsOn[d.ID] = c.ID
			b.underIt[c.ID] = append(b.underIt[c.ID], d)
		}
	}
}

// cropOf returns the crop that stands on a delivery: the one that the yard
// noted, and where it noted none, or one that nobody knows, the one that the
// room was filled with about that day.
func (b *Book) cropOf(d Delivery) (Crop, bool) {
	if c, ok := b.crops[d.CropID]; ok {
		return c, true
	}
	return b.cropOfFill(d.RoomID, d.Day)
}

// Crop returns a crop by its id.
func (b *Book) Crop(id string) (Crop, bool) {
	c, ok := b.crops[id]
	return c, ok
}

// Compost returns a compost lot by its id.
func (b *Book) Compost(id string) (Compost, bool) {
	c, ok := b.compost[id]
	return c, ok
}

// Under returns the deliveries on which a crop stands, by day and id.
func (b *Book) Under(cropID string) []Delivery { return slices.Clone(b.underIt[cropID]) }

// Back returns the origin of a pick lot.
func (b *Book) Back(lot PickLot) Origin {
	o := Origin{CropID: lot.CropID}
	if c, ok := b.CropOn(lot.RoomID, lot.Day); ok {
		o.CropID = c.ID
	}
	ids := map[string]bool{}
	for _, d := range b.underIt[o.CropID] {
		ids[d.CompostID] = true
	}
	o.CompostIDs = slices.Sorted(maps.Keys(ids))
	var reasons, exceptions []string
	for _, id := range o.CompostIDs {
		c, ok := b.compost[id]
		if !ok {
			continue
		}
		if c.Held {
			o.Held = true
			reasons = append(reasons, sentence("compost lot "+id+" is held", c.HoldReason))
		}
		if c.Exception != "" {
			exceptions = append(exceptions, sentence("compost lot "+id+" was released by exception", c.Exception))
		}
	}
	o.Reason, o.Exception = strings.Join(reasons, "; "), strings.Join(exceptions, "; ")
	return o
}

// sentence adds the reason to what happened, where there is one.
func sentence(what, why string) string {
	if why == "" {
		return what
	}
	return what + ": " + why
}

// Forward returns the crops that stand on a compost lot, by id.
func (b *Book) Forward(compostID string) []Crop {
	found := map[string]Crop{}
	for _, d := range b.delivered {
		if id, ok := b.standsOn[d.ID]; ok && d.CompostID == compostID {
			found[id] = b.crops[id]
		}
	}
	return slices.SortedFunc(maps.Values(found), func(a, b Crop) int { return cmp.Compare(a.ID, b.ID) })
}
