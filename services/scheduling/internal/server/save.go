package server

import "breakshare.example/services/platform/saving"

// etag is the mark of a version. Callers send it back as they got it.
func etag(version int64) string { return saving.Etag(version) }
