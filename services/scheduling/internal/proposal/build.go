package proposal

import (
	"fmt"
	"slices"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/programme"
)

// Problem is the fill-planning problem of a case.
type Problem struct {
	Instance *fillplan.Instance
	Wishes   *fillplan.Wishes
	// Planned are the crops that may be planned anew, by the fill that they are.
	Planned map[fillplan.Fill]Crop
	// Yard is the compost of each week.
	Yard []YardWeek
	// Notes say in words what had to be assumed.
	Notes []string

	c      *Case
	farms  map[string]int
	usual  []calendar.Calendar // of each programme, filled on First
	stays  []Crop              // the crops that stay as they are
	freeOn []calendar.Date     // by room: the day from which it can be filled
	even   *evenPrices         // what made the charges; nil without
}

// YardWeek is the compost of one week.
type YardWeek struct {
	// CapacityKg can be had beside what the crops that stay need.
	CapacityKg int64
	// ByYard is what each yard adds to it before that need, published or reckoned.
	ByYard map[string]int64
	// TakenKg is what crops that stay need, and what others were granted.
	TakenKg int64
	// Reckoned: no slot is published so far ahead.
	Reckoned bool
}

// Build draws the problem. Errors: *ChoiceError, and *fillplan.InstanceError for
// figures beyond all measure.
func Build(c *Case) (*Problem, error) {
	p := &Problem{c: c, farms: map[string]int{}, Planned: map[fillplan.Fill]Crop{}}
	in := &fillplan.Instance{Name: "proposal", Weeks: c.Weeks, SupplyGrams: rows(len(c.Kinds), c.Weeks)}
	p.Instance = in
	for i, f := range c.Farms {
		p.farms[f.ID] = i
		in.Farms = append(in.Farms, f.ID)
	}
	for _, k := range c.Kinds {
		in.Products = append(in.Products, fillplan.Product{ID: name(k.Product), ShortCents: k.ShortCents, OverCents: k.OverCents})
		in.DemandGrams = append(in.DemandGrams, k.DemandGrams)
	}
	if err := p.programmes(); err != nil {
		return nil, err
	}
	p.rooms()
	for _, crop := range p.stays {
		Weekly(in.SupplyGrams, kindIndex(c.Kinds), c.First, crop.Programme, crop.AreaM2, crop.Calendar)
	}
	p.yards()
	if err := p.wishes(); err != nil {
		return nil, err
	}
	return p, in.Validate()
}

func name(k programme.Product) string {
	if k.Stage == programme.NoPickStage {
		return k.Species
	}
	return k.Species + ", " + string(k.Stage)
}

// programmes draws each programme's weeks, yield and cost from its usual days.
func (p *Problem) programmes() error {
	for _, prog := range p.c.Programmes {
		dates, err := calendar.Compute(calendar.Crop{ID: prog.ID, Programme: prog, Fill: p.c.First}, nil)
		if err != nil {
			return err
		}
		p.usual = append(p.usual, dates)
		weeks := max(1, (dates.Free.Expected.Sub(p.c.First)+6)/7)
		byKind := rows(len(p.c.Kinds), weeks)
		Weekly(byKind, kindIndex(p.c.Kinds), p.c.First, prog, 1, dates)
		out := fillplan.Programme{ID: prog.ID, Weeks: weeks, CostCents: p.c.Prices.perM2(prog), YieldGrams: rows(weeks, len(p.c.Kinds))}
		if prog.System.CompostPhase() > 0 {
			out.CompostKg = (prog.Inputs.Compost.Grams + 999) / 1000
		}
		for k := range byKind {
			for w, grams := range byKind[k] {
				out.YieldGrams[w][k] = grams
			}
		}
		p.Instance.Programmes = append(p.Instance.Programmes, out)
	}
	return nil
}

// perM2 is the cost of a square metre of one fill, in cents, half up: inputs and
// work, as far as their prices are known.
func (prices Prices) perM2(p *programme.Programme) int64 {
	// In millionths of a cent, so that every price divides evenly but the hour's.
	const unit = 1_000_000
	total := prices.SpawnPerKg * p.Inputs.Spawn.Grams * 1000
	if p.System.CompostPhase() > 0 {
		total += prices.CompostPerTonne * p.Inputs.Compost.Grams
	}
	if casing := p.Inputs.Casing; casing != nil {
		total += prices.CasingPerTonne * casing.Grams
	}
	var minutes int64
	for _, s := range p.Stages {
		minutes += s.WorkMinutes.Value
	}
	total += prices.LabourPerHour * minutes * unit / 60
	return (total + unit/2) / unit
}

// rooms finds what each room may be filled with and from when, and which crops
// stay as they are: those that have begun, those filled before the first week, and
// all where nothing is to be planned anew.
func (p *Problem) rooms() {
	index := map[string]int{}
	for i, r := range p.c.Rooms {
		index[r.ID] = i
		p.freeOn = append(p.freeOn, max(p.c.First, p.c.Today))
		room := fillplan.Room{ID: r.ID, Farm: p.farms[r.FarmID], Area: r.AreaM2}
		for j, prog := range p.c.Programmes {
			if prog.System == r.System {
				room.Programmes = append(room.Programmes, j)
			}
		}
		p.Instance.Rooms = append(p.Instance.Rooms, room)
	}
	for _, crop := range p.c.Crops {
		i, ok := index[crop.RoomID]
		if !ok {
			p.stays = append(p.stays, crop)
			continue
		}
		fill := fillplan.Fill{Room: i, Programme: p.programme(crop.Programme.ID), Week: weekOf(p.c.First, crop.Fill)}
		_, twice := p.Planned[fill]
		anew := p.c.Wishes.Replan && !crop.Begun && fill.Programme >= 0 && fill.Week >= 0 && fill.Week < p.c.Weeks && !twice &&
			slices.Contains(p.Instance.Rooms[i].Programmes, fill.Programme)
		if anew {
			p.Planned[fill] = crop
			continue
		}
		p.stays = append(p.stays, crop)
		p.freeOn[i] = max(p.freeOn[i], crop.Free)
	}
	for i := range p.Instance.Rooms {
		p.Instance.Rooms[i].Free = p.freeWeek(p.freeOn[i])
	}
}

// freeWeek is the first week in which a room that is free from a day on can be
// filled: that day's, where an open day is left in it.
func (p *Problem) freeWeek(from calendar.Date) int {
	w := weekOf(p.c.First, from)
	if p.openFrom(from) >= from.Week().Add(7) {
		w++
	}
	return w
}

// openFrom is the first day from one on when the co-op fills; the day itself where
// none is open within two weeks.
func (p *Problem) openFrom(day calendar.Date) calendar.Date {
	for d := range 14 {
		if open, _ := p.c.Rules.Open(programme.Filling, day.Add(d)); open {
			return day.Add(d)
		}
	}
	return day
}

func (p *Problem) programme(id string) int {
	return slices.IndexFunc(p.c.Programmes, func(prog *programme.Programme) bool { return prog.ID == id })
}

func (p *Problem) note(format string, args ...any) {
	p.Notes = append(p.Notes, fmt.Sprintf(format, args...))
}
