package shareout

import (
	"testing"

	"pgregory.net/rapid"
)

// FuzzShareOut looks for a round whose answer is not feasible, or that breaks
// off; the seeds are bytes that draw small rounds.
func FuzzShareOut(f *testing.F) {
	for _, seed := range []string{"", "\x01\x02\x03\x04\x05\x06\x07\x08 slots and requests, drawn byte by byte", "\xff\xfe\xfd\xfc\xfb\xfa\xf9\xf8\x00\x00\x00\x00\x00\x00\x00\x01"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		in := drawRound(t, true)
		checkFeasible(t, in, mustShare(t, in))
	}))
}
