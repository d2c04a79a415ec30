package release

import (
	"fmt"
	"time"
)

func (f Finding) unmarked(m Mark) Finding {
	f.Verdict = NotProven
	f.Why = fmt.Sprintf("Nobody has noted the %v, so it is not known which readings count.", m)
	f.Mend = fmt.Sprintf("Note when the %v was.", m)
	return f
}

func tooFew(q Quantity, have, want int) string {
	if have == 0 {
		return fmt.Sprintf("No probe measures %v.", q)
	}
	return fmt.Sprintf("Only %d of %d probes measure %v.", have, want, q)
}

// why says why a probe's finding fails.
func (c Criterion) why(p ProbeFinding) string {
	who := fmt.Sprintf("Probe %s (%v)", p.Probe, p.Quantity)
	if c.Test == EndsWithin {
		switch {
		case p.To == 0:
			return fmt.Sprintf("%s has no reading after the %v.", who, c.From)
		case p.Verdict == NotMet:
			return fmt.Sprintf("%s last read %s, wanted %s (%s).", who, p.spread(), c.band(), stamp(p.To))
		default:
			return fmt.Sprintf("%s: its last readings (to %s) are too few, too old or cannot be right; wanted %d within %s.", who, stamp(p.To), max(1, c.Readings), c.band())
		}
	}
	return fmt.Sprintf("%s proves %s within %s, wanted %s%s%s.", who, span(p.ProvenSeconds), c.band(), span(c.Seconds), c.unbroken(), p.doubt())
}

func (c Criterion) unbroken() string {
	if c.Test == HoldsUnbroken {
		return " without a break"
	}
	return " in all"
}

// doubt names the longest fault where faults decide.
func (p ProbeFinding) doubt() string {
	if p.Verdict != NotProven || len(p.Faults) == 0 {
		return ""
	}
	f := p.Faults[0]
	text := fmt.Sprintf("; it could be %s but for a %s", span(p.PossibleSeconds), f.Kind)
	switch f.Kind {
	case Stuck:
		text = fmt.Sprintf("; it could be %s, but the probe was stuck at %s", span(p.PossibleSeconds), p.Quantity.Format(f.Value))
	case Impossible:
		text = fmt.Sprintf("; it could be %s, but the probe read %s, which cannot be", span(p.PossibleSeconds), p.Quantity.Format(f.Value))
	}
	return fmt.Sprintf("%s from %s to %s", text, stamp(f.From), stamp(f.To))
}

// whyMet names the probe that only just meets the criterion.
func (c Criterion) whyMet(all []ProbeFinding) string {
	weakest := all[0]
	for _, p := range all[1:] {
		if p.ProvenSeconds < weakest.ProvenSeconds {
			weakest = p
		}
	}
	who := fmt.Sprintf("All %d probes", len(all))
	if len(all) == 1 {
		who = "The one probe"
	}
	if c.Test == EndsWithin {
		return fmt.Sprintf("%s ended within %s; probe %s read %s at %s.", who, c.band(), weakest.Probe, weakest.spread(), stamp(weakest.To))
	}
	return fmt.Sprintf("%s held %s for %s or more%s; the shortest is probe %s with %s.", who, c.band(), span(c.Seconds), c.unbroken(), weakest.Probe, span(weakest.ProvenSeconds))
}

// mend says what would make the criterion met.
func (c Criterion) mend(p ProbeFinding) string {
	switch {
	case c.Test == EndsWithin && p.Verdict == NotMet:
		return fmt.Sprintf("Bring %v to %s, then measure again.", p.Quantity, c.band())
	case c.Test == EndsWithin:
		return fmt.Sprintf("Measure %v again with a probe that has been checked.", p.Quantity)
	case p.Verdict == NotMet:
		return fmt.Sprintf("Hold %v at %s for %s%s.", p.Quantity, c.band(), span(c.Seconds), c.unbroken())
	default:
		return fmt.Sprintf("Enter the missing readings of probe %s from the logger, or check the probe and hold again.", p.Probe)
	}
}

// spread is the range of values in the deciding stretch.
func (p ProbeFinding) spread() string {
	if p.Lowest == p.Highest {
		return p.Quantity.Format(p.Lowest)
	}
	return p.Quantity.Format(p.Lowest) + " to " + p.Quantity.Format(p.Highest)
}

// span writes a duration in hours and minutes.
func span(seconds int64) string {
	h, m := seconds/hour, seconds%hour/60
	switch {
	case m == 0:
		return fmt.Sprintf("%d h", h)
	case h == 0:
		return fmt.Sprintf("%d min", m)
	default:
		return fmt.Sprintf("%d h %d min", h, m)
	}
}

// stamp writes an instant in UTC.
func stamp(at int64) string { return time.Unix(at, 0).UTC().Format("2006-01-02 15:04 UTC") }
