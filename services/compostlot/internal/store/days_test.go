package store

import (
	"slices"
	"testing"
)

// The array {-1,70000} as PostgreSQL 15 sends it: SELECT array_send(ARRAY[-1, 70000]).
var sent = []byte{0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 23, 0, 0, 0, 2, 0, 0, 0, 1, 0, 0, 0, 4, 0xff, 0xff, 0xff, 0xff, 0, 0, 0, 4, 0, 1, 0x11, 0x70}

func TestArraysAsPostgreSQLSendsThem(t *testing.T) {
	t.Parallel()
	got, err := int4s(sent)
	if err != nil || !slices.Equal(got, []int32{-1, 70_000}) {
		t.Errorf("%v, %v", got, err)
	}
	with := func(at int, b byte) []byte {
		out := slices.Clone(sent)
		out[at] = b
		return out
	}
	for name, bad := range map[string][]byte{
		"nothing": nil, "cut": sent[:len(sent)-1], "two dimensions": with(3, 2), "nulls": with(7, 1), "more elements": with(15, 3), "longer elements": with(23, 8),
	} {
		if got, err := int4s(bad); err == nil {
			t.Errorf("%s gives %v", name, got)
		}
	}
}
