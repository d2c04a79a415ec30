package hygiene

import (
	"fmt"
	"slices"
	"strings"
)

// Room is a room to be visited today.
type Room struct {
	ID, Name string
	Break    int  // break in which it stands, from 1; 0 while vegetative
	Infected bool // a disease, or a pest above its threshold, is reported
}

// Visit is one line of the day's list.
type Visit struct {
	Room Room
	Why  string
}

// Order lists the rooms in the order of visiting: vegetative, first break,
// second break, later ones, infected ones last (among themselves in the same
// order). Rooms alike go by name, then by id. The order given does not matter.
func Order(rooms []Room) []Visit {
	sorted := slices.Clone(rooms)
	slices.SortFunc(sorted, func(a, b Room) int {
		if a.Infected != b.Infected {
			if b.Infected {
				return -1
			}
			return 1
		}
		if a.Break != b.Break {
			return a.Break - b.Break
		}
		if c := strings.Compare(a.Name, b.Name); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	})
	out := make([]Visit, len(sorted))
	for i, r := range sorted {
		out[i] = Visit{r, r.why()}
	}
	return out
}

func (r Room) why() string {
	switch {
	case r.Infected:
		return "infected: last, and into no other room afterwards today"
	case r.Break <= 0:
		return "vegetative: first, while hands and clothes are cleanest"
	}
	return fmt.Sprintf("in break %d: after younger rooms", r.Break)
}
