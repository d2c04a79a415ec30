package release

import (
	"fmt"
	"strings"
)

// RuleError says what is wrong with a criterion, and with which of its figures.
type RuleError struct {
	Key, Problem string
	Figure       Figure // FigureNone where it is no single one
}

// Figure is a part of a criterion that a co-op can change.
type Figure uint8

const (
	FigureNone Figure = iota
	FigureLow
	FigureSeconds
	FigureSource
)

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
