package dimacs

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"breakshare.example/services/order/internal/match/flow"
)

// SyntaxError says where and how an input departs from the format.
type SyntaxError struct {
	// Line counts from 1.
	Line int
	// What is wrong and what is expected, in words.
	What string
}

// Error gives the line and what is expected there.
func (e *SyntaxError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.What) }

const (
	// bufferSize is also the longest line that is not a comment, in bytes.
	bufferSize = 1 << 18
	// shortestArc is the length of the shortest arc line, "a 1 1 0 0 0".
	shortestArc = 12
	// firstArcs is the number of arcs to make room for where the size of the
	// input is unknown: the problem line alone is not trusted.
	firstArcs = 1 << 16
)

// Read reads a problem, plain or compressed by gzip. It returns *SyntaxError
// for an input that departs from the format or exceeds the limits of package
// flow, and the reader's own error, wrapped, where reading fails.
func Read(r io.Reader) (*flow.Problem, error) {
	room := firstArcs
	buffered := bufio.NewReaderSize(r, bufferSize)
	if magic, err := buffered.Peek(2); err == nil && magic[0] == 0x1f && magic[1] == 0x8b {
		unzipped, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, fmt.Errorf("dimacs: %w", err)
		}
		buffered = bufio.NewReaderSize(unzipped, bufferSize)
	} else if f, ok := r.(fs.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			room = int(info.Size()/shortestArc) + 1
		}
	}
	p := &parser{in: buffered, room: room}
	if err := p.run(); err != nil {
		return nil, fmt.Errorf("dimacs: %w", err)
	}
	return &p.problem, nil
}

type parser struct {
	in      *bufio.Reader
	room    int // the most arcs to make room for at once
	line    int
	started bool // the problem line was read
	arcs    int  // as announced
	named   []bool
	problem flow.Problem
}

func (p *parser) run() error {
	for {
		line, err := p.next()
		if err == io.EOF {
			return p.finish()
		}
		if err != nil {
			return err
		}
		if what := p.parse(line); what != "" {
			return &SyntaxError{p.line, what}
		}
	}
}

// next returns the next line with its end. Of a comment that exceeds the
// buffer it returns the beginning and drops the rest.
func (p *parser) next() ([]byte, error) {
	line, err := p.in.ReadSlice('\n')
	if err == io.EOF && len(line) == 0 {
		return nil, io.EOF
	}
	p.line++
	if errors.Is(err, bufio.ErrBufferFull) {
		if line[0] != 'c' {
			return nil, &SyntaxError{p.line, fmt.Sprintf("longer than %d bytes", bufferSize)}
		}
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = p.in.ReadSlice('\n')
		}
		line = []byte("c")
	}
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("line %d: %w", p.line, err)
	}
	return line, nil
}

// parse takes in one line and says what is wrong with it, if anything.
func (p *parser) parse(line []byte) string {
	if p.plainArc(line) {
		return ""
	}
	f := fields{rest: bytes.TrimRight(line, "\r\n")}
	kind := f.word()
	switch {
	case len(kind) == 0 || kind[0] == 'c':
		return ""
	case string(kind) == "a":
		return p.arc(&f)
	case string(kind) == "n":
		return p.node(&f)
	case string(kind) == "p":
		return p.start(&f)
	}
	return fmt.Sprintf("starts with %q; expected a line of kind c, p, n or a", clip(kind))
}

func (p *parser) start(f *fields) string {
	if p.started {
		return "a second p line; expected one only"
	}
	if kind := f.word(); string(kind) != "min" {
		return fmt.Sprintf("problem kind %q; expected p min NODES ARCS", clip(kind))
	}
	nodes, arcs := f.int("NODES"), f.int("ARCS")
	switch {
	case f.fault("p min NODES ARCS") != "":
		return f.fault("p min NODES ARCS")
	case nodes < 1 || nodes > flow.MaxNodes:
		return fmt.Sprintf("NODES is %d; expected 1 to %d", nodes, flow.MaxNodes)
	case arcs < 0 || arcs > flow.MaxArcs:
		return fmt.Sprintf("ARCS is %d; expected 0 to %d", arcs, flow.MaxArcs)
	}
	p.started, p.arcs = true, int(arcs)
	room := min(p.arcs, p.room)
	p.problem = flow.Problem{
		Supply: make([]int64, nodes),
		From:   make([]int32, 0, room),
		To:     make([]int32, 0, room),
		Cap:    make([]int64, 0, room),
		Cost:   make([]int64, 0, room),
	}
	p.named = make([]bool, nodes)
	return ""
}

func (p *parser) node(f *fields) string {
	if !p.started {
		return "an n line before the p line; expected p min NODES ARCS first"
	}
	if len(p.problem.From) > 0 {
		return "an n line after an a line; expected all n lines first"
	}
	id, supply := f.int("ID"), f.int("FLOW")
	if what := f.fault("n ID FLOW"); what != "" {
		return what
	}
	if what := p.outside("ID", id); what != "" {
		return what
	}
	if p.named[id-1] {
		return fmt.Sprintf("node %d has an n line already; expected one at most", id)
	}
	p.named[id-1] = true
	p.problem.Supply[id-1] = supply
	return ""
}

func (p *parser) arc(f *fields) string {
	if !p.started {
		return "an a line before the p line; expected p min NODES ARCS first"
	}
	q := &p.problem
	if len(q.From) == p.arcs {
		return fmt.Sprintf("more than the %d arcs that the p line announces", p.arcs)
	}
	src, dst := f.int("SRC"), f.int("DST")
	low, capacity, cost := f.int("LOW"), f.int("CAP"), f.int("COST")
	if what := f.fault("a SRC DST LOW CAP COST"); what != "" {
		return what
	}
	if what := p.outside("SRC", src); what != "" {
		return what
	}
	if what := p.outside("DST", dst); what != "" {
		return what
	}
	if low < 0 {
		return fmt.Sprintf("LOW is %d; expected 0 or more", low)
	}
	if capacity < 0 {
		capacity = flow.Unlimited
	}
	if capacity < low {
		return fmt.Sprintf("CAP %d is below LOW %d; expected LOW or more, or a negative number for no bound", capacity, low)
	}
	if low > 0 && q.Low == nil {
		q.Low = make([]int64, len(q.From), cap(q.From))
	}
	if q.Low != nil {
		q.Low = append(q.Low, low)
	}
	q.From = append(q.From, int32(src-1))
	q.To = append(q.To, int32(dst-1))
	q.Cap = append(q.Cap, capacity)
	q.Cost = append(q.Cost, cost)
	return ""
}

// outside says so if a node's number is out of range.
func (p *parser) outside(name string, id int64) string {
	if n := len(p.problem.Supply); id < 1 || id > int64(n) {
		return fmt.Sprintf("%s is %d; expected a node from 1 to %d", name, id, n)
	}
	return ""
}

func (p *parser) finish() error {
	if !p.started {
		return &SyntaxError{p.line, "the input ends without a problem; expected p min NODES ARCS"}
	}
	if got := len(p.problem.From); got != p.arcs {
		return &SyntaxError{p.line, fmt.Sprintf("the input ends after %d arcs; expected the %d that the p line announces", got, p.arcs)}
	}
	return nil
}
