package server

import (
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// etag is the mark of a version. Callers send it back as they got it.
func etag(version int64) string { return saving.Etag(version) }

// twice refuses a batch that names the same thing in two places.
func twice(path, id string, first int) error {
	return fault.InvalidField(path, "%q stands in element %d already: give each once", id, first)
}
