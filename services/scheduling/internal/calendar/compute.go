package calendar

import (
	"fmt"

	"breakshare.example/services/scheduling/internal/programme"
)

// Forward plans a crop from its filling day. Errors: *CropError, *RecordError,
// and *ClosedDayError where the rules allow no filling on that day.
func Forward(crop Crop, rules *Rules) (Calendar, error) {
	if !crop.Begun() {
		if err := rules.check(programme.Filling, crop.Fill); err != nil {
			return Calendar{}, err
		}
	}
	return Compute(crop, rules)
}

// Compute gives the dates of a crop, planned or running. Unlike Forward it takes
// a filling day that the rules have since closed, and flags it. Errors:
// *CropError, *RecordError.
func Compute(crop Crop, rules *Rules) (Calendar, error) {
	t, err := newTimeline(&crop, rules)
	if err != nil {
		return Calendar{}, err
	}
	t.place()
	t.bound()
	return t.calendar(), nil
}

// Recompute computes many crops, in their order, for instance after a slip. It
// stops at the first crop that Compute refuses.
func Recompute(crops []Crop, rules *Rules) ([]Calendar, error) {
	out := make([]Calendar, len(crops))
	for i := range crops {
		c, err := Compute(crops[i], rules)
		if err != nil {
			return nil, fmt.Errorf("recompute crop %d of %d: %w", i+1, len(crops), err)
		}
		out[i] = c
	}
	return out, nil
}

// maxStages is more than any system has; it lets the working state of a timeline
// live on the stack.
const maxStages = 16

// timeline is the working state for one crop. Index n, one past the last stage,
// stands for the day the room is free.
type timeline struct {
	crop            *Crop
	rules           *Rules
	n, fill         int
	start           [maxStages + 1]Date
	recorded        [maxStages + 1]bool
	earliest, after [maxStages + 1]Date // after: the latest start
	flags           []Flag
}

func newTimeline(crop *Crop, rules *Rules) (*timeline, error) {
	if crop.Programme == nil {
		return nil, &CropError{Crop: crop.ID, Detail: "has no programme; choose one"}
	}
	if crop.Fill < FirstDate || crop.Fill > LastDate {
		return nil, &CropError{Crop: crop.ID, Detail: fmt.Sprintf("is filled on %s; give a day from %s to %s", crop.Fill, FirstDate, LastDate)}
	}
	t := &timeline{crop: crop, rules: rules, n: len(crop.Programme.Stages), fill: -1}
	if t.n > maxStages {
		return nil, &CropError{Crop: crop.ID, Detail: fmt.Sprintf("has %d stages; %d are the most", t.n, maxStages)}
	}
	for i := range t.n {
		if t.stage(i).Kind == programme.Filling {
			t.fill = i
		}
	}
	if t.fill < 0 {
		return nil, &CropError{Crop: crop.ID, Detail: "its programme has no filling; mend the programme"}
	}
	return t, t.record()
}

func (t *timeline) stage(i int) *programme.Stage { return &t.crop.Programme.Stages[i] }

// record takes over the recorded days and refuses what cannot be true.
func (t *timeline) record() error {
	for _, r := range t.crop.Recorded {
		refuse := func(format string, args ...any) error {
			return &RecordError{Crop: t.crop.ID, Stage: r.Stage, On: r.On, Detail: fmt.Sprintf(format, args...)}
		}
		i := t.index(r.Stage)
		switch {
		case i < 0:
			return refuse("the programme has no such stage")
		case r.On < FirstDate || r.On > LastDate:
			return refuse("give a day from %s to %s", FirstDate, LastDate)
		case t.recorded[i]:
			return refuse("it is recorded twice; keep one")
		}
		t.start[i], t.recorded[i] = r.On, true
	}
	if f := t.crop.Freed; f != nil {
		t.start[t.n], t.recorded[t.n] = *f, true
	}
	last := -1
	for i := range t.n + 1 {
		if !t.recorded[i] {
			continue
		}
		if last >= 0 && t.start[i] < t.start[last] {
			kind := afterLast
			if i < t.n {
				kind = t.stage(i).Kind
			}
			return &RecordError{
				Crop: t.crop.ID, Stage: kind, On: t.start[i],
				Detail: fmt.Sprintf("%s, which comes first, is recorded later, on %s", t.stage(last).Kind, t.start[last]),
			}
		}
		last = i
	}
	return nil
}

func (t *timeline) index(kind programme.StageKind) int {
	for i := range t.n {
		if t.stage(i).Kind == kind {
			return i
		}
	}
	return -1
}

// base is the index from which the other dates count: the first recorded stage
// where that lies before filling, else filling.
func (t *timeline) base() int {
	for i := range t.fill {
		if t.recorded[i] {
			return i
		}
	}
	return t.fill
}

// limits bounds the start of stage i by the next recorded stage after it; ok is
// false where none is.
func (t *timeline) limits(i int) (low, high, next Date, ok bool) {
	least, most := Date(0), Date(0)
	for j := i + 1; j <= t.n; j++ {
		days := &t.stage(j - 1).Days
		least, most = least+Date(days.Least), most+Date(days.Most)
		if t.recorded[j] {
			return t.start[j] - most, t.start[j] - least, t.start[j], true
		}
	}
	return 0, 0, 0, false
}

// place gives every stage its start.
func (t *timeline) place() {
	base := t.base()
	if !t.recorded[base] {
		// The planned filling day gives way only to what was recorded after it.
		t.start[base] = t.crop.Fill
		if low, high, next, ok := t.limits(base); ok {
			t.start[base] = min(clamp(t.crop.Fill, low, high), next)
		} else if t.crop.NotBefore != nil {
			t.start[base] = max(t.start[base], *t.crop.NotBefore)
		}
		t.flagClosed(base)
	}
	for i := base + 1; i <= t.n; i++ {
		if t.recorded[i] {
			continue
		}
		days := &t.stage(i - 1).Days
		prev := t.start[i-1]
		target, low, high := prev+Date(days.Usual), prev+Date(days.Least), prev+Date(days.Most)
		if i == t.fill {
			target = clamp(t.crop.Fill, low, high)
		}
		if t.crop.NotBefore != nil && i == t.next() {
			target, low, high = max(target, *t.crop.NotBefore), max(low, *t.crop.NotBefore), max(high, *t.crop.NotBefore)
		}
		if nextLow, nextHigh, next, ok := t.limits(i); ok {
			// What happened later wins over what the programme expects, but a
			// stage never starts before the one it follows.
			low = max(prev, min(next, clamp(low, nextLow, nextHigh)))
			high = max(low, min(next, clamp(high, nextLow, nextHigh)))
			target = clamp(target, low, high)
		}
		t.settle(i, target, low, high)
	}
	for i := base - 1; i >= 0; i-- {
		days := &t.stage(i).Days
		next := t.start[i+1]
		t.settle(i, next-Date(days.Usual), next-Date(days.Most), next-Date(days.Least))
	}
}

// next is the stage that the crop waits for; n, the day the room is free, while the
// last one runs.
func (t *timeline) next() int {
	return Awaited(t.n, func(i int) programme.StageKind { return t.stage(i).Kind }, func(i int) bool { return t.recorded[i] })
}

// Awaited is the index of the stage that a crop of n stages waits for: the first
// from filling on, after the last recorded one, that does not simply follow from
// the stage before it; n where there is none. The spawn run, the case run and idle
// days follow by themselves, so that nobody need record them.
func Awaited(n int, kind func(i int) programme.StageKind, recorded func(i int) bool) int {
	next, filling := 0, 0
	for i := range n {
		if recorded(i) {
			next = i + 1
		}
		if kind(i) == programme.Filling {
			filling = i
		}
	}
	next = max(next, filling)
	for next < n && (kind(next) == programme.SpawnRun || kind(next) == programme.CaseRun || kind(next) == programme.Idle) {
		next++
	}
	return next
}

// settle puts stage i on the open day nearest to target.
func (t *timeline) settle(i int, target, low, high Date) {
	t.start[i] = target
	if i == t.n || t.rules == nil {
		return
	}
	if day, ok := t.rules.nearest(t.stage(i).Kind, target, low, high); ok {
		t.start[i] = day
		return
	}
	t.flagClosed(i)
}

func (t *timeline) flagClosed(i int) {
	kind := t.stage(i).Kind
	if t.rules.isOpen(kind, t.start[i]) {
		return
	}
	_, reason := t.rules.Open(kind, t.start[i])
	t.flags = append(t.flags, Flag{Kind: ClosedDay, Stage: kind, On: t.start[i], Reason: reason})
}

// bound computes how early and how late each stage can start, and flags recorded
// stages that lie too near or too far apart.
func (t *timeline) bound() {
	base := t.base()
	t.earliest[base], t.after[base] = t.start[base], t.start[base]
	last := -1
	for i := base; i <= t.n; i++ {
		if i > base {
			days := &t.stage(i - 1).Days
			t.earliest[i] = t.earliest[i-1] + Date(days.Least)
			t.after[i] = t.after[i-1] + Date(days.Most)
		}
		if low, high, _, ok := t.limits(i); ok {
			t.earliest[i], t.after[i] = max(t.earliest[i], low), min(t.after[i], high)
		}
		if t.recorded[i] {
			if last >= 0 {
				t.compare(last, i)
			}
			last = i
			t.earliest[i], t.after[i] = t.start[i], t.start[i]
		}
		// Reality outside the range leaves an empty window; the date stands.
		t.earliest[i], t.after[i] = min(t.earliest[i], t.start[i]), max(t.after[i], t.start[i])
	}
	for i := base - 1; i >= 0; i-- {
		days := &t.stage(i).Days
		t.earliest[i] = min(t.earliest[i+1]-Date(days.Most), t.start[i])
		t.after[i] = max(t.after[i+1]-Date(days.Least), t.start[i])
	}
}

// compare flags the days between two recorded stages where they leave the range.
func (t *timeline) compare(i, j int) {
	var span programme.Range
	for k := i; k < j; k++ {
		days := &t.stage(k).Days
		span.Least += days.Least
		span.Most += days.Most
	}
	days := t.start[j].Sub(t.start[i])
	if int64(days) < span.Least || int64(days) > span.Most {
		t.flags = append(t.flags, outsideRange(t.crop.Programme, i, j, t.start[i], days, span))
	}
}

func clamp(d, low, high Date) Date { return max(low, min(d, high)) }
