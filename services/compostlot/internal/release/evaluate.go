package release

import (
	"slices"
)

// Evidence is what is known of a lot.
type Evidence struct {
	Series []Series       // one for each probe
	Marks  map[Mark]int64 // Unix seconds; a mark that nobody noted is absent
	At     int64          // moment of judging, Unix seconds; later readings do not count
}

// Verdict is the answer to a criterion.
type Verdict uint8

const (
	Met Verdict = iota + 1
	NotMet
	NotProven
)

func (v Verdict) String() string {
	return [...]string{"", "met", "not met", "not proven"}[v]
}

// ProbeFinding is what one probe says about a criterion.
type ProbeFinding struct {
	Probe    string
	Quantity Quantity
	Verdict  Verdict
	// From and To are the stretch that decides: the proven stretch where it is
	// met, else the best there is; Unix seconds. Both 0 without any reading.
	From, To int64
	// Lowest and Highest are the corrected values within that stretch.
	Lowest, Highest int64
	// ProvenSeconds is the time proven within the band; PossibleSeconds adds
	// all unknown time. Both 0 for EndsWithin.
	ProvenSeconds, PossibleSeconds int64
	// Faults are stretches that prove nothing, the longest ones first, at most
	// five.
	Faults []Fault
}

// Finding is the answer to one criterion.
type Finding struct {
	Criterion Criterion
	Verdict   Verdict
	Probes    []ProbeFinding // by quantity, then probe id
	Why       string         // one sentence
	Mend      string         // what to do; empty where it is met
}

// Report is the answer to all criteria.
type Report struct {
	At       int64
	Findings []Finding // in the order of the rules
	Proven   bool      // every criterion is met
	Caution  string
}

// Caution is to be shown wherever a report is.
const Caution = "This is evidence, not a clearance. Steam, ammonia, hydrogen sulphide, carbon dioxide and lack of oxygen in bunkers and tunnels can kill: nobody enters on these readings. Local codes, product labels and licensed practice decide; a named person releases the lot."

// Evaluate judges a lot. It returns a *RuleError for rules that make no sense
// and an *EvidenceError for series that are not by ascending time or twice for
// one probe.
func Evaluate(in Evidence, rules Rules) (*Report, error) {
	if err := rules.Check(); err != nil {
		return nil, err
	}
	if err := checkSeries(in.Series); err != nil {
		return nil, err
	}
	proofs := make([]proof, 0, len(in.Series))
	for _, s := range in.Series {
		if sane, ok := rules.Sanity[s.Probe.Quantity]; ok {
			proofs = append(proofs, proof{Series: s, sane: sane, ok: usable(s, sane)})
		}
	}
	slices.SortStableFunc(proofs, proof.compare)
	out := &Report{At: in.At, Proven: true, Caution: Caution}
	for _, c := range rules.Criteria {
		f := judge(c, proofs, in)
		out.Proven = out.Proven && f.Verdict == Met
		out.Findings = append(out.Findings, f)
	}
	return out, nil
}

func checkSeries(series []Series) error {
	seen := map[string]bool{}
	for _, s := range series {
		bad := func(problem string) error { return &EvidenceError{Probe: s.Probe.ID, Problem: problem} }
		if s.Probe.ID == "" || seen[s.Probe.ID] {
			return bad("needs one series under an id of its own")
		}
		seen[s.Probe.ID] = true
		if len(s.Times) != len(s.Values) {
			return bad("has not as many times as values: send the readings again")
		}
		for i := 1; i < len(s.Times); i++ {
			if s.Times[i] <= s.Times[i-1] {
				return bad("has readings out of order of time: sort them, one for each second")
			}
		}
	}
	return nil
}

// judge answers one criterion.
func judge(c Criterion, proofs []proof, in Evidence) Finding {
	f := Finding{Criterion: c}
	from, known := in.Marks[c.From]
	if !known {
		return f.unmarked(c.From)
	}
	to := in.At
	if c.To != 0 {
		mark, known := in.Marks[c.To]
		if !known {
			return f.unmarked(c.To)
		}
		to = min(to, mark)
	}
	for _, q := range c.Quantities {
		probes := 0
		for _, p := range proofs {
			if p.Probe.Quantity != q {
				continue
			}
			probes++
			f.Probes = append(f.Probes, p.find(c, from, to, in.At))
		}
		if probes < c.MinProbes {
			f.Verdict, f.Why, f.Mend = NotProven, tooFew(q, probes, c.MinProbes), "Log "+q.String()+" with more probes, or enter their readings."
		}
	}
	f.conclude()
	return f
}

// conclude takes the worst of the probes: what is certainly not met, then
// what is not proven.
func (f *Finding) conclude() {
	for _, verdict := range []Verdict{NotMet, NotProven} {
		if verdict == NotProven && f.Verdict == NotProven {
			return // too few probes; said already
		}
		if i := slices.IndexFunc(f.Probes, func(p ProbeFinding) bool { return p.Verdict == verdict }); i >= 0 {
			f.Verdict = verdict
			f.Why, f.Mend = f.Criterion.why(f.Probes[i]), f.Criterion.mend(f.Probes[i])
			return
		}
	}
	f.Verdict = Met
	f.Why = f.Criterion.whyMet(f.Probes)
}
