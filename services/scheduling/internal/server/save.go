package server

import (
	"strconv"
	"time"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/store"
)

// etag is the mark of a version. Callers send it back as they got it.
func etag(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// saving is what the rule of saves needs to know of a thing.
type saving struct {
	thing string // in people's words: `farm "alder-brook"`
	path  string // of the thing in the request
	etag  string // as the caller sent it
	found bool   // it is there already
	equal bool   // and what the caller sends says nothing new
	last  store.Change
}

// decide is the one rule of saves: without an etag a thing is created, or left as
// it is where it is there and equal; with one, what was read is changed. write
// tells whether there is anything to write. Whatever was changed by somebody else
// since is refused as stale, naming who did and when.
func (s saving) decide() (write bool, err error) {
	switch {
	case !s.found && s.etag == "":
		return true, nil
	case !s.found:
		return false, fault.New(fault.NotFound, "NOTHING_TO_CHANGE", "there is no %s to change; leave etag empty to create it", s.thing).
			WithField(s.path+".etag", "belongs to nothing that is there; leave it empty to create")
	case s.etag == "" && s.equal:
		return false, nil
	case s.etag == "":
		return false, staleFault("ETAG_NEEDED", s.last, "%s is there already and says otherwise (last saved %s); read it, and send its etag to change it", s.thing).
			WithField(s.path+".etag", "is empty; send the etag that was read to change what is there")
	case s.etag != etag(s.last.Version):
		return false, staleEtag(s.thing, s.last).WithField(s.path+".etag", "is not that of the newest version; read it again")
	}
	return !s.equal, nil
}

// staleEtag refuses a change of something that somebody has changed since.
func staleEtag(thing string, last store.Change) *fault.Error {
	return staleFault("STALE_ETAG", last, "%s was changed meanwhile, %s; read it again and decide anew", thing)
}

func staleFault(reason string, last store.Change, format, thing string) *fault.Error {
	out := fault.New(fault.Stale, reason, format, thing, last).
		WithMeta("changedBy", last.By).WithMeta("etag", etag(last.Version))
	if last.At.IsZero() {
		return out
	}
	return out.WithMeta("changedAt", last.At.UTC().Format(time.RFC3339))
}

// raced refuses a save that met another of the same thing at the same moment.
func raced(thing string) error {
	return fault.New(fault.Stale, "SAVED_AT_ONCE", "%s was saved by somebody else at this very moment; read it and decide anew", thing)
}
