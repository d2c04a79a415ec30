package server

import (
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// rulesCrop is a stored crop as the calendar computes it. Its room is the growing
// room; of the tunnels and other rooms it passes through, those kept with it are
// reserved.
func rulesCrop(c store.Crop, p *programme.Programme) calendar.Crop {
	out := calendar.Crop{
		ID: c.ID, Programme: p, Fill: c.PlannedFill, Freed: c.Ended,
		Facilities: map[programme.Place]string{programme.GrowingRoom: c.RoomID}, NotBefore: c.NotBefore,
	}
	for _, f := range c.Facilities {
		out.Facilities[f.Place] = f.ID
		if f.Place == programme.Tunnel {
			out.Load = f.Load
		}
	}
	for _, s := range c.Stages {
		if s.Actual != nil {
			out.Recorded = append(out.Recorded, calendar.Record{Stage: s.Kind, On: *s.Actual})
		}
	}
	return out
}

// lay writes computed dates into the crop.
func lay(c *store.Crop, cal calendar.Calendar) {
	outside := map[programme.StageKind]bool{}
	for _, f := range cal.Flags {
		outside[f.Stage] = outside[f.Stage] || f.Kind == calendar.OutsideRange
	}
	c.Stages = each(cal.Stages, func(s calendar.StageDates) store.Stage {
		out := store.Stage{
			Kind: s.Stage, Start: s.Start, End: s.End, Earliest: s.Earliest, Latest: s.Latest, OutsideRange: outside[s.Stage],
		}
		if s.Recorded {
			out.Actual = &s.Start
		}
		return out
	})
	filling, _ := cal.Stage(programme.Filling)
	c.Fill, c.FirstPick, c.Free = filling.Start, cal.FirstPick.Expected, cal.Free.Expected
	c.OccupiedFrom, c.OccupiedEnd = held(cal, c.RoomID)
	for i := range c.Facilities {
		f := &c.Facilities[i]
		f.From, f.Until = held(cal, f.ID)
	}
}

// held is the span of days on which the crop holds a room or other facility; nil
// where it holds it on none.
func held(cal calendar.Calendar, facility string) (from, until *calendar.Date) {
	for _, o := range cal.Occupancies {
		if o.Facility != facility {
			continue
		}
		if from == nil {
			from = &o.From
		}
		until = &o.Until
	}
	return from, until
}

// release lets go of all that the crop holds.
func release(c *store.Crop) {
	c.OccupiedFrom, c.OccupiedEnd = nil, nil
	for i := range c.Facilities {
		c.Facilities[i].From, c.Facilities[i].Until = nil, nil
	}
}

// cropMessage is the crop with all that its programme says of it, for events and
// single calls.
func cropMessage(c store.Crop, p *programme.Programme) *schedulingv1.Crop {
	out := leanCropMessage(c, p)
	used := map[string]bool{}
	for i, s := range out.GetStages() {
		s.Days = rangeMessage(p.Stages[i].Days)
		used[p.Stages[i].Days.Source] = true
	}
	out.Breaks, out.Bears = breaksMessage(p.Breaks), bearsMessage(p.Bears)
	b := p.Breaks
	for _, key := range []string{b.FirstPick.Source, b.Interval.Source, b.Width.Source, b.Shares.Source, b.Yield.Source} {
		used[key] = true
	}
	for _, bearing := range p.Bears {
		used[bearing.Source] = true
	}
	out.Sources = sourcesMessage(p.Sources)
	for key := range out.GetSources() {
		if !used[key] {
			delete(out.Sources, key)
		}
	}
	return out
}

// leanCropMessage is the crop without what its programme says, for answers of many
// crops.
func leanCropMessage(c store.Crop, p *programme.Programme) *schedulingv1.Crop {
	needs := p.Needs(int64(c.AreaM2))
	out := &schedulingv1.Crop{
		CropId: c.ID, RoomId: c.RoomID, FarmId: c.FarmID, ProgrammeId: c.Programme.ID, ProgrammeVersion: c.Programme.Version,
		Species: p.Species, Strain: p.Strain, State: states.enum[c.State], GrowingSystem: systems.enum[p.System],
		FillDate: c.Fill.String(), FirstPickDate: c.FirstPick.String(), FreeDate: c.Free.String(), CalledOff: c.CalledOff,
		AreaM2: c.AreaM2, CompostGrams: needs.CompostGrams, SpawnGrams: needs.SpawnGrams,
		CasingGrams: needs.CasingGrams, SupplementGrams: needs.SupplementGrams,
		CompostPhase: compostPhase(p.System), Version: c.Version, Etag: etag(c.Version),
	}
	if c.NotBefore != nil {
		day := c.NotBefore.String()
		out.NotBeforeDate = &day
	}
	for _, f := range c.Facilities {
		out.Facilities = append(out.Facilities, &schedulingv1.CropFacility{Place: places.enum[f.Place], FacilityId: f.ID, Load: f.Load})
	}
	for i, s := range c.Stages {
		stage := &schedulingv1.CropStage{
			Kind: stageKinds.enum[s.Kind], Place: places.enum[p.Stages[i].Place],
			StartDate: s.Start.String(), EndDate: s.End.String(),
			EarliestDate: s.Earliest.String(), LatestDate: s.Latest.String(), OutsideRange: s.OutsideRange,
		}
		if s.Actual != nil {
			day := s.Actual.String()
			stage.ActualStartDate = &day
		}
		out.Stages = append(out.Stages, stage)
	}
	return out
}
