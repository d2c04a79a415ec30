package server

import (
	"context"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/identity"
)

// learnt keeps in memory the ended crops from which forecasts learn. It changes
// when a crop ends, and hardly ever when a weighing of an ended one is corrected:
// that is seen some minutes later.
type learnt struct {
	mu    sync.Mutex
	coops map[string]endedCrops
}

type endedCrops struct {
	changes int64
	at      time.Time
	crops   map[string][]growth.Ended // by programme
	asked   map[string]bool           // programmes
}

const endedFor = 5 * time.Minute

// recall gives each crop the ended crops of its programme.
func (s *Server) recall(ctx context.Context, tx pgx.Tx, crops []store.Crop) error {
	coop := identity.Must(ctx).CoopID
	var wanted []string
	seen := map[string]bool{}
	for _, c := range crops {
		if p := c.ProgrammeID; p != "" && !seen[p] {
			seen[p] = true
			wanted = append(wanted, p)
		}
	}
	if len(wanted) == 0 {
		return nil
	}
	changes, err := store.Changes(ctx, tx)
	if err != nil {
		return err
	}
	l, now := &s.learnt, s.clock.Now()
	l.mu.Lock()
	known, ok := l.coops[coop]
	l.mu.Unlock()
	if age := now.Sub(known.at); !ok || known.changes != changes || age < 0 || age > endedFor || !has(known.asked, wanted) {
		known = endedCrops{changes: changes, at: now, asked: seen}
		if known.crops, err = store.EndedCrops(ctx, tx, wanted); err != nil {
			return err
		}
		l.mu.Lock()
		if l.coops == nil || len(l.coops) >= mostCoops {
			l.coops = map[string]endedCrops{}
		}
		l.coops[coop] = known
		l.mu.Unlock()
	}
	for i := range crops {
		crops[i].Before = known.crops[crops[i].ProgrammeID]
	}
	return nil
}
