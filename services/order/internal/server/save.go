package server

import (
	"strconv"
	"time"

	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

// etag is the mark of a version. Callers send it back as they got it.
func etag(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// saving is what the rule of saves needs to know of a thing.
type saving struct {
	thing string // in people's words: `customer "copper-pan"`
	path  string // of the thing in the request
	etag  string // as the caller sent it
	found bool   // it is there already
	equal bool   // and what the caller sends says nothing new
	last  store.Change
}

// decide is the one rule of saves: without an etag a thing is created, or left as it is where it
// is there and equal; with one, what was read is changed. write tells whether there is anything
// to write. Whatever somebody else changed since is refused as stale, with who and when.
func (s saving) decide() (write bool, err error) {
	switch {
	case !s.found && s.etag == "":
		return true, nil
	case !s.found:
		return false, fault.New(fault.NotFound, "NOTHING_TO_CHANGE", "there is no %s to change: leave etag empty to create it", s.thing).
			WithField(s.path+".etag", "belongs to nothing that is there: leave it empty to create")
	case s.etag == "" && s.equal:
		return false, nil
	case s.etag == "":
		return false, fault.New(fault.Stale, "ETAG_NEEDED", "%s is there already and says otherwise, saved by %s at %s: read it, and send its etag to change it",
			s.thing, s.last.By, s.last.At.UTC().Format(time.RFC3339)).
			WithField(s.path+".etag", "is empty: send the etag that was read to change what is there").
			WithMeta("changedBy", s.last.By)
	case s.etag != etag(s.last.Version):
		return false, staleEtag(s.thing, s.path+".etag", s.last)
	}
	return !s.equal, nil
}

// staleEtag refuses a change of something that somebody has changed since it was read.
func staleEtag(thing, path string, last store.Change) error {
	return stale("STALE_ETAG", last, "%s was changed meanwhile", thing).
		WithField(path, "is not that of the newest version: read it again")
}

// twice refuses a batch that names the same thing in two places.
func twice(path, id string, first int) error {
	return fault.InvalidField(path, "%q stands in element %d already: give each once", id, first)
}
