package release

import (
	"cmp"
	"slices"
)

// Reading is one value of one probe, as logged.
type Reading struct {
	Probe string
	At    int64 // Unix seconds
	Value int64 // thousandths of the unit of the probe's quantity, uncorrected
}

// Probe is an instrument, or a sampler for values measured in a laboratory.
type Probe struct {
	ID       string
	Quantity Quantity
	// Offset is added to each of its values to correct it, after calibration:
	// thousandths of the unit; 0 for a probe that reads true.
	Offset int64
}

// Series is all readings of one probe in columns, by ascending time.
type Series struct {
	Probe  Probe
	Times  []int64 // Unix seconds, strictly ascending
	Values []int64 // uncorrected
}

// Columns sorts readings into series, one for each probe, by probe id. Of two
// readings of a probe at the same second the later in the input counts, as a
// correction. It returns an *EvidenceError for a reading of an unknown probe.
func Columns(probes []Probe, readings []Reading) ([]Series, error) {
	at := make(map[string]int, len(probes))
	out := make([]Series, 0, len(probes))
	for _, p := range slices.SortedFunc(slices.Values(probes), func(a, b Probe) int { return cmp.Compare(a.ID, b.ID) }) {
		at[p.ID] = len(out)
		out = append(out, Series{Probe: p})
	}
	sorted := slices.Clone(readings)
	slices.SortStableFunc(sorted, func(a, b Reading) int { return cmp.Compare(a.At, b.At) })
	for _, r := range sorted {
		i, ok := at[r.Probe]
		if !ok {
			return nil, &EvidenceError{Probe: r.Probe, Problem: "is not a probe of this lot: add the probe first"}
		}
		s := &out[i]
		if n := len(s.Times); n > 0 && s.Times[n-1] == r.At {
			s.Values[n-1] = r.Value
			continue
		}
		s.Times, s.Values = append(s.Times, r.At), append(s.Values, r.Value)
	}
	return out, nil
}

// FaultKind is why readings are no proof.
type FaultKind string

const (
	Gap        FaultKind = "gap"
	Stuck      FaultKind = "stuck"
	Impossible FaultKind = "impossible value"
)

// Fault is a stretch of time that a probe proves nothing about.
type Fault struct {
	Kind     FaultKind
	From, To int64 // Unix seconds
	Value    int64 // corrected; of stuck and impossible
}

// usable says of each reading whether it can be proof.
func usable(s Series, sane Sanity) []bool {
	ok := make([]bool, len(s.Values))
	for i, v := range s.Values {
		v += s.Probe.Offset
		ok[i] = v >= sane.Least && v <= sane.Most
	}
	if sane.StuckSeconds == 0 {
		return ok
	}
	for i := 0; i < len(ok); {
		j := i + 1
		for j < len(ok) && s.Values[j] == s.Values[i] {
			j++
		}
		if j-i > 1 && s.Times[j-1]-s.Times[i] >= sane.StuckSeconds {
			for k := i; k < j; k++ {
				ok[k] = false
			}
		}
		i = j
	}
	return ok
}
