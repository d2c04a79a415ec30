package bus

import (
	"fmt"
	"regexp"
	"strings"

	"breakshare.example/services/platform/ids"
)

// MaxPayload is the largest payload of an event in bytes. It stands well under
// the server's limit of 1 MiB per message, so that headers always fit and the
// relay can never hold a message that the bus refuses for its size.
const MaxPayload = 768 << 10

// token is what one word of a subject may be: no dot, space or wildcard can
// slip into it.
var token = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)

// SubjectProblem says which part of a subject cannot be used and why.
type SubjectProblem struct {
	Part  string // "co-op", "service", "thing", "what"
	Value string
}

// Error implements error.
func (p *SubjectProblem) Error() string {
	if p.Part == "co-op" {
		return fmt.Sprintf("bus: co-op %q is not a UUID; give the co-op's id", p.Value)
	}
	return fmt.Sprintf("bus: %s %q cannot stand in a subject; use a lower-case letter, then up to 62 lower-case letters, digits or underscores", p.Part, p.Value)
}

// CheckSubject reports the first part that cannot stand in a subject, as a
// *SubjectProblem.
func CheckSubject(coopID, service, thing, what string) error {
	if !ids.Valid(coopID) {
		return &SubjectProblem{"co-op", coopID}
	}
	for _, p := range []SubjectProblem{{"service", service}, {"thing", thing}, {"what", what}} {
		if !token.MatchString(p.Value) {
			return &p
		}
	}
	return nil
}

// CheckService reports, as a *SubjectProblem, that a service's name cannot
// stand in a subject.
func CheckService(service string) error {
	if !token.MatchString(service) {
		return &SubjectProblem{"service", service}
	}
	return nil
}

// Subject returns coop.<co-op>.<service>.<thing>.<what>, the co-op in lower
// case. It panics when a part cannot stand in a subject: check parts that come
// from outside with CheckSubject.
func Subject(coopID, service, thing, what string) string {
	if err := CheckSubject(coopID, service, thing, what); err != nil {
		panic(err)
	}
	return strings.Join([]string{"coop", strings.ToLower(coopID), service, thing, what}, ".")
}

// SourceFilter returns the subject that matches every co-op's events of one
// service: coop.*.<source>.>. It panics as Subject does.
func SourceFilter(source string) string {
	if err := CheckService(source); err != nil {
		panic(err)
	}
	return "coop.*." + source + ".>"
}

// Parts are the parts of an event's subject.
type Parts struct{ CoopID, Service, Thing, What string }

// ParseSubject takes a subject of an event apart; it accepts exactly what
// Subject returns.
func ParseSubject(subject string) (Parts, error) {
	t := strings.Split(subject, ".")
	if len(t) != 5 || t[0] != "coop" {
		return Parts{}, fmt.Errorf("bus: subject %q is not coop.<co-op>.<service>.<thing>.<what>", subject)
	}
	if err := CheckSubject(t[1], t[2], t[3], t[4]); err != nil {
		return Parts{}, fmt.Errorf("bus: subject %q: %w", subject, err)
	}
	return Parts{CoopID: t[1], Service: t[2], Thing: t[3], What: t[4]}, nil
}

// DeadSubject returns dead.<service>.<source>.<thing>.<what>: the service that
// could not apply the event, the service it came from, and what it told.
func DeadSubject(service, source, thing, what string) string {
	return strings.Join([]string{"dead", service, source, thing, what}, ".")
}
