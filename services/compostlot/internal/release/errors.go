package release

import (
	"fmt"
	"strings"
)

// RuleError says what is wrong with a criterion.
type RuleError struct{ Key, Problem string }

func (e *RuleError) Error() string { return fmt.Sprintf("criterion %q: %s", e.Key, e.Problem) }

// EvidenceError says what is wrong with the readings handed in.
type EvidenceError struct{ Probe, Problem string }

func (e *EvidenceError) Error() string { return fmt.Sprintf("probe %q %s", e.Probe, e.Problem) }

// UnprovenError says that a lot cannot be released as it is.
type UnprovenError struct{ Keys []string } // of the criteria not met or not proven

func (e *UnprovenError) Error() string {
	return fmt.Sprintf("the lot is not proven (%s): mend that, hold the lot, or release it as an exception with a reason", strings.Join(e.Keys, ", "))
}

// DecisionError says what a decision lacks.
type DecisionError struct{ Field, Problem string }

func (e *DecisionError) Error() string { return fmt.Sprintf("release, %s: %s", e.Field, e.Problem) }
