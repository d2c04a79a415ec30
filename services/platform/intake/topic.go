package intake

import (
	"fmt"
	"regexp"
	"strings"

	"breakshare.example/services/platform/ids"
)

// root is the first word of every topic.
const root = "readings"

// word is what one level of a topic may be: the ids that people choose, and the
// names of kinds.
var word = regexp.MustCompile(`^[a-z0-9]([a-z0-9_-]{0,62}[a-z0-9])?$`)

// Topic is where a reading was published.
type Topic struct {
	CoopID  string
	Service string
	Place   string   // the yard or the farm
	Names   []string // what was measured: lot and probe, or room
	Kind    string
}

// parseSubject takes the subject apart under which the bus has a message: the
// levels of the topic, joined by dots. With an error it returns what could be
// read all the same.
func parseSubject(subject string) (Topic, error) {
	levels := strings.Split(subject, ".")
	var t Topic
	if len(levels) > 1 && ids.Valid(levels[1]) {
		t.CoopID = levels[1]
	}
	if len(levels) > 3 && word.MatchString(levels[3]) {
		t.Service, t.Place = levels[2], levels[3]
	}
	if len(levels) < 6 || levels[0] != root {
		return t, fmt.Errorf("topic %s is too short: a topic is readings/<co-op>/<service>/<yard or farm>/<what>/<kind>", slashed(subject))
	}
	if t.CoopID == "" {
		return t, fmt.Errorf("topic %s: %q is no co-op's id, which is a UUID", slashed(subject), levels[1])
	}
	for _, l := range levels[2:] {
		if !word.MatchString(l) {
			return t, fmt.Errorf("topic %s: %q cannot be a name: use lower-case letters, digits and hyphens", slashed(subject), l)
		}
	}
	last := len(levels) - 1
	t.Names, t.Kind = levels[4:last], levels[last]
	return t, nil
}

// slashed is the topic of a subject.
func slashed(subject string) string { return strings.ReplaceAll(subject, ".", "/") }

// Allowed is the subject pattern below which a device may publish: the
// readings of one yard or farm for one service. It fails when a part cannot
// stand in a topic.
func Allowed(coopID, service, place string) (string, error) {
	if !ids.Valid(coopID) {
		return "", fmt.Errorf("%q is no co-op's id: give its UUID", coopID)
	}
	if !word.MatchString(place) {
		return "", fmt.Errorf("%q cannot be the id of a yard or farm: use lower-case letters, digits and hyphens", place)
	}
	return strings.Join([]string{root, strings.ToLower(coopID), service, place, ">"}, "."), nil
}
