// Package saving owns the one rule by which things that people save are created, left as they are
// or changed, and the faults that tell who was first where two change the same thing.
package saving

import (
	"fmt"
	"strconv"
	"time"

	"breakshare.example/services/platform/fault"
)

// Change says which version of a thing is stored, and who made it when.
type Change struct {
	// Version grows by one with every change, from 1; 0 is nothing stored.
	Version int64
	By      string
	// At is zero for what comes with the suite.
	At time.Time
}

// String says who and when, for people.
func (c Change) String() string {
	if c.At.IsZero() {
		return "by " + c.By
	}
	return "by " + c.By + " at " + c.at()
}

func (c Change) at() string { return c.At.UTC().Format(time.RFC3339) }

// Etag is the mark of a version. Callers send it back as they got it.
func Etag(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// Save is what the rule needs to know of a thing to be saved.
type Save struct {
	// Thing is what it is in people's words: `farm "alder-brook"`.
	Thing string
	// Path of the thing in the request: `farms[3]`.
	Path string
	// Etag as the caller sent it.
	Etag string
	// Found tells that it is there already, and Equal that what the caller sends says nothing new.
	Found, Equal bool
	// Last change of what is there.
	Last Change
}

// Decide is the one rule: without an etag a thing is created, or left as it is where it is there
// and equal; with one, what was read is changed. write tells whether there is anything to write.
// An etag of nothing that is there is refused as not found; what somebody else changed since it
// was read, and what is there and was not read, as stale, with who saved it and when.
func (s Save) Decide() (write bool, err error) {
	switch {
	case !s.Found && s.Etag == "":
		return true, nil
	case !s.Found:
		return false, fault.New(fault.NotFound, "NOTHING_TO_CHANGE", "there is no %s to change: leave etag empty to create it", s.Thing).
			WithField(s.Path+".etag", "belongs to nothing that is there: leave it empty to create")
	case s.Etag == "" && s.Equal:
		return false, nil
	case s.Etag == "":
		return false, stale("ETAG_NEEDED", s.Last, fmt.Sprintf("%s is there already and says otherwise, saved %s: read it, and send its etag to change it", s.Thing, s.Last)).
			WithField(s.Path+".etag", "is empty: send the etag that was read to change what is there")
	case s.Etag != Etag(s.Last.Version):
		return false, StaleEtag(s.Thing, s.Path+".etag", s.Last)
	}
	return !s.Equal, nil
}

// StaleEtag refuses a change of something that somebody has changed since it was read. path is that
// of the etag.
func StaleEtag(thing, path string, last Change) *fault.Error {
	return Stale("STALE_ETAG", last, "%s was changed meanwhile", thing).
		WithField(path, "is not that of the newest version: read it again")
}

// Stale says that something changed meanwhile, and who changed it when.
func Stale(reason string, last Change, format string, args ...any) *fault.Error {
	return stale(reason, last, fmt.Sprintf("%s, %s: read it again and decide anew", fmt.Sprintf(format, args...), last))
}

func stale(reason string, last Change, message string) *fault.Error {
	f := fault.New(fault.Stale, reason, "%s", message).WithMeta("changedBy", last.By).WithMeta("etag", Etag(last.Version))
	if last.At.IsZero() {
		return f
	}
	return f.WithMeta("changedAt", last.at())
}

// Raced refuses a save that met another of the same thing at the same moment.
func Raced(thing string) *fault.Error {
	return fault.New(fault.Stale, "SAVED_AT_ONCE", "%s was saved by somebody else at this very moment: read it and decide anew", thing)
}
