package coopfiles

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// MaxProblems is how many problems of one file are told; one more line says how many
// there were beyond them.
const MaxProblems = 20

// Problem is one thing that is wrong in a file. Line 0 is about the file as a whole, an
// empty Column about the whole line.
type Problem struct {
	File   string
	Line   int
	Column string
	// Text says what is wrong and what is expected.
	Text string
}

// String is the problem as one line.
func (p Problem) String() string {
	where := p.File
	if p.Line > 0 {
		where += fmt.Sprintf(" line %d", p.Line)
	}
	if p.Column != "" {
		where += ", column " + p.Column
	}
	return where + ": " + p.Text
}

// Problems is the error of files that cannot be taken: at least one problem, by file in the
// order of Tables, then by line.
type Problems struct{ List []Problem }

// Error tells every problem on a line of its own.
func (p *Problems) Error() string {
	lines := make([]string, len(p.List))
	for i, problem := range p.List {
		lines[i] = problem.String()
	}
	return strings.Join(lines, "\n")
}

// collector gathers the problems of one file and keeps the first MaxProblems.
type collector struct {
	file  string
	list  []Problem
	total int
}

func (c *collector) add(line int, column, format string, args ...any) {
	c.total++
	if len(c.list) < MaxProblems {
		c.list = append(c.list, Problem{c.file, line, column, fmt.Sprintf(format, args...)})
	}
}

// problems are the ones kept, by line, with a last word on those that were not.
func (c *collector) problems() []Problem {
	out := slices.Clone(c.list)
	slices.SortStableFunc(out, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	if more := c.total - len(c.list); more > 0 {
		out = append(out, Problem{File: c.file, Text: fmt.Sprintf("and %d more", more)})
	}
	return out
}
