package server

import (
	"context"
	"sync"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/identity"
)

// knowledge keeps in memory what others told of co-ops, so that pushes need not
// read it over and over. Under the lock of the family tree it is seen by a count
// whether what is kept still holds.
type knowledge struct {
	mu    sync.Mutex
	coops map[string]known
}

// known is what is kept of one co-op.
type known struct {
	changes int64
	rooms   map[string]bool // read, whether they exist or not
	facts   store.Facts
}

// Bounds of what is kept.
const (
	mostCoops = 64
	mostRooms = 2000
)

// of returns what was told of the rooms, and shares the lock of the family
// tree until the transaction ends. After a change the rooms asked for are read;
// when others are asked for before the next change, all of the co-op are.
func (k *knowledge) of(ctx context.Context, tx pgx.Tx, rooms []string) (store.Facts, error) {
	coop := identity.Must(ctx).CoopID
	changes, err := store.LockFacts(ctx, tx)
	if err != nil {
		return store.Facts{}, err
	}
	k.mu.Lock()
	had, ok := k.coops[coop]
	k.mu.Unlock()
	fresh := known{changes: changes, rooms: map[string]bool{}}
	if ok && had.changes == changes {
		if has(had.rooms, rooms) {
			return had.facts, nil
		}
		all, err := store.AllRooms(ctx, tx, mostRooms)
		if err != nil {
			return store.Facts{}, err
		}
		rooms = append(all, rooms...)
	}
	for _, r := range rooms {
		fresh.rooms[r] = true
	}
	if fresh.facts, err = store.ReadFacts(ctx, tx, rooms); err != nil {
		return store.Facts{}, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.coops == nil || len(k.coops) >= mostCoops {
		k.coops = map[string]known{}
	}
	k.coops[coop] = fresh
	return fresh.facts, nil
}

func has(set map[string]bool, all []string) bool {
	for _, s := range all {
		if !set[s] {
			return false
		}
	}
	return true
}
