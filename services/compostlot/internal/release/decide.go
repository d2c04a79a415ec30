package release

import "strings"

// Decision is a named person's wish to release a lot.
type Decision struct {
	By        string
	Exception bool
	Reason    string // required for an exception
}

// Release is a decision that stands.
type Release struct {
	By        string
	Exception bool
	Reason    string
	// Unproven are the criteria not met or not proven that an exception
	// passes over; they follow everything made from the lot.
	Unproven []string
}

// Decide says whether a decision may stand on a report. It returns an
// *UnprovenError where a criterion is not met and no exception is made, and a
// *DecisionError for a decision without a name, for an exception without a
// reason, and for an exception that is not needed.
func Decide(r *Report, d Decision) (Release, error) {
	if strings.TrimSpace(d.By) == "" {
		return Release{}, &DecisionError{Field: "by", Problem: "a lot is released by a named person: give the name"}
	}
	var open []string
	for _, f := range r.Findings {
		if f.Verdict != Met {
			open = append(open, f.Criterion.Key)
		}
	}
	switch {
	case r.Proven && d.Exception:
		return Release{}, &DecisionError{Field: "exception", Problem: "every criterion is met: release the lot without an exception"}
	case r.Proven:
		return Release{By: d.By}, nil
	case !d.Exception:
		return Release{}, &UnprovenError{Keys: open}
	case strings.TrimSpace(d.Reason) == "":
		return Release{}, &DecisionError{Field: "reason", Problem: "an exception needs its reason: say why the lot is released all the same"}
	}
	return Release{By: d.By, Exception: true, Reason: d.Reason, Unproven: open}, nil
}
