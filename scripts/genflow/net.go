package main

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strconv"
)

// net is the bare min-cost-flow problem.
type net struct {
	name     string
	comment  []string
	supply   []int // index 0 = node 1
	from, to []int32
	cp, cost []int32
}

func (n *net) arc(u, v, c, w int) {
	n.from = append(n.from, int32(u))
	n.to = append(n.to, int32(v))
	n.cp = append(n.cp, int32(c))
	n.cost = append(n.cost, int32(w))
}

// writeDIMACS writes the problem in the DIMACS form.
func (n *net) writeDIMACS(to io.Writer) error {
	w := bufio.NewWriterSize(to, 1<<20)
	for _, c := range n.comment {
		fmt.Fprintln(w, "c", c)
	}
	fmt.Fprintf(w, "p min %d %d\n", len(n.supply), len(n.from))
	for i, s := range n.supply {
		if s != 0 {
			fmt.Fprintf(w, "n %d %d\n", i+1, s)
		}
	}
	for i := range n.from {
		b := append(w.AvailableBuffer(), "a "...)
		b = strconv.AppendInt(b, int64(n.from[i]), 10)
		b = append(b, ' ')
		b = strconv.AppendInt(b, int64(n.to[i]), 10)
		b = append(b, " 0 "...)
		b = strconv.AppendInt(b, int64(n.cp[i]), 10)
		b = append(b, ' ')
		b = strconv.AppendInt(b, int64(n.cost[i]), 10)
		if _, err := w.Write(append(b, '\n')); err != nil {
			return err
		}
	}
	return w.Flush()
}

// create writes a file, through gzip if its name says so.
func create(path string, zipped bool, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if !zipped {
		if err := write(f); err != nil {
			return err
		}
		return f.Close()
	}
	z := gzip.NewWriter(f)
	if err := write(z); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	return f.Close()
}

func asJSON(v any) func(io.Writer) error {
	return func(w io.Writer) error { return json.NewEncoder(w).Encode(v) }
}
