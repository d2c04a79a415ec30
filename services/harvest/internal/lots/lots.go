// Package lots owns the life of pick lots: how they are opened, how their
// origin is kept in step with what becomes known, and how others hear of it.
// All of it happens in the transaction of the change, under the lock of the
// family tree (store.LockTree).
package lots

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/store"
)

// Code is the code of the pick lot of a room, product and day, which the packs
// will carry: "alder-brook-1-white-closed-2kg-20261126".
func Code(roomID, productID string, on day.Date) string {
	return roomID + "-" + productID + "-" + on.Compact()
}

// CodeTaken says that a room, product and day make the code of a lot that is of
// another room or product: "a-1" with "b" and "a" with "1-b" read the same.
type CodeTaken struct {
	Code              string
	RoomID, ProductID string // whose code it is
}

// Error says what to change.
func (e *CodeTaken) Error() string {
	return fmt.Sprintf("the pick lot code %s is already that of room %s and product %s: give the room or the product an id that cannot be read two ways", e.Code, e.RoomID, e.ProductID)
}

// Open returns the lots of the given rooms, products and days by code, locked,
// and opens those that are not there, with the origin that the book gives them.
// Each needs RoomID, ProductID, Day and FarmID, and a crop in the room on that
// day. A new lot that may not be sold is told of. It may return a *CodeTaken.
func Open(ctx context.Context, tx pgx.Tx, book *genealogy.Book, wanted []store.PickLot) (store.Opened, error) {
	byCode := make(map[string]store.PickLot, len(wanted))
	for _, l := range wanted {
		l.ID = Code(l.RoomID, l.ProductID, l.Day)
		if first, ok := byCode[l.ID]; ok && !sameKey(first, l) {
			return store.Opened{}, &CodeTaken{l.ID, first.RoomID, first.ProductID}
		}
		l.Origin = book.Back(genealogy.PickLot{RoomID: l.RoomID, Day: l.Day})
		byCode[l.ID] = l
	}
	codes := slices.Sorted(maps.Keys(byCode))
	ordered := make([]store.PickLot, len(codes))
	for i, code := range codes {
		ordered[i] = byCode[code]
	}
	opened, err := store.OpenLots(ctx, tx, ordered)
	if err != nil {
		return opened, err
	}
	for _, code := range codes {
		l := opened.Lots[code]
		if !sameKey(l, byCode[code]) {
			return opened, &CodeTaken{code, l.RoomID, l.ProductID}
		}
		if opened.New[code] && l.Held() {
			if err := TellHeld(ctx, tx, l); err != nil {
				return opened, err
			}
		}
	}
	return opened, nil
}

func sameKey(a, b store.PickLot) bool {
	return a.RoomID == b.RoomID && a.ProductID == b.ProductID && a.Day == b.Day
}

// Refresh draws the origin of every lot of the rooms and of their crops anew
// from what is known now, saves the lots for which it changed, and tells of
// them. The caller holds the lock of the family tree alone.
func Refresh(ctx context.Context, tx pgx.Tx, rooms []string) error {
	if len(rooms) == 0 {
		return nil
	}
	rooms, facts, err := store.Reach(ctx, tx, rooms)
	if err != nil {
		return err
	}
	book, err := store.Book(ctx, tx, facts)
	if err != nil {
		return err
	}
	list, err := store.LockLotsOfRooms(ctx, tx, rooms)
	if err != nil {
		return err
	}
	for _, was := range list {
		origin := book.Back(genealogy.PickLot{RoomID: was.RoomID, Day: was.Day, CropID: was.Origin.CropID})
		if origin.Equal(was.Origin) {
			continue
		}
		now := was
		now.Origin = origin
		now.Version++
		if err := store.SaveLot(ctx, tx, now); err != nil {
			return err
		}
		tell := TellTraced
		if now.Held() != was.Held() || now.HoldReason() != was.HoldReason() {
			tell = TellHeld
		}
		if err := tell(ctx, tx, now); err != nil {
			return err
		}
	}
	return nil
}
