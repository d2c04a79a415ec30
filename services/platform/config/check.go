package config

import (
	"fmt"
	"strings"
)

// Checker is a struct of settings that knows which values make sense.
type Checker interface {
	// Check adds a problem to r for everything that is wrong.
	Check(r *Report)
}

// Problem is one setting that makes no sense.
type Problem struct {
	Path string // "harvest.max_connections"
	What string // "is 0"
	Mend string // "give at least 1"
}

// String returns "harvest.max_connections is 0: give at least 1".
func (p Problem) String() string { return fmt.Sprintf("%s %s: %s", p.Path, p.What, p.Mend) }

// Problems is everything wrong in one file, in the order it was found: mending
// one thing at a time is tedious.
type Problems []Problem

// Error implements error, one problem a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// Report collects problems. The zero value is ready.
type Report struct {
	prefix string
	found  *Problems
}

// Section returns a report for the settings under name; what is added to it is
// found in r too.
func (r *Report) Section(name string) *Report {
	r.init()
	return &Report{prefix: r.prefix + name + ".", found: r.found}
}

// Add reports that the setting is wrong: what it is, and how to mend it.
func (r *Report) Add(setting, what, mend string) {
	r.init()
	*r.found = append(*r.found, Problem{Path: r.prefix + setting, What: what, Mend: mend})
}

// Problems returns what was found so far.
func (r *Report) Problems() Problems {
	r.init()
	return *r.found
}

func (r *Report) init() {
	if r.found == nil {
		r.found = &Problems{}
	}
}
