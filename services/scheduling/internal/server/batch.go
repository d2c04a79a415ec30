package server

import (
	"fmt"

	"breakshare.example/services/platform/fault"
)

// pathOf names an element of a request, for errors: by its index in a batch, by
// one name in a single call.
type pathOf func(i int) string

func single(name string) pathOf { return func(int) string { return name } }

func element(name string) pathOf {
	return func(i int) string { return fmt.Sprintf("%s[%d]", name, i) }
}

// one takes the only answer of a batch of one.
func one[T any](answers []T, err error) (T, error) {
	if err != nil {
		var none T
		return none, err
	}
	return answers[0], nil
}

// each maps a list.
func each[T, U any](in []T, fn func(T) U) []U {
	out := make([]U, len(in))
	for i, v := range in {
		out[i] = fn(v)
	}
	return out
}

// onceEach refuses a batch in which one id stands twice.
func onceEach[T any](in []T, id func(T) string, at pathOf, field string) error {
	first := make(map[string]int, len(in))
	for i, v := range in {
		if j, ok := first[id(v)]; ok {
			return fault.InvalidField(at(i)+"."+field, "%q stands at %s too; give each once", id(v), at(j))
		}
		first[id(v)] = i
	}
	return nil
}
