package web

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"
)

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }

func plain(n int64) string { return strconv.FormatInt(n, 10) }

// indexOf reads the index off "3].packs".
func indexOf(rest string) (int, bool) {
	number, _, _ := strings.Cut(rest, "]")
	i, err := strconv.Atoi(number)
	return i, err == nil && i >= 0
}
