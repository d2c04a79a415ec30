package dimacs

import (
	"bufio"
	"fmt"
	"io"
	"strconv"

	"breakshare.example/services/order/internal/match/flow"
)

// Write writes the solution r of p, each of comments first as a c line. It
// returns the writer's error, wrapped.
func Write(w io.Writer, p *flow.Problem, r flow.Result, comments ...string) error {
	out := bufio.NewWriterSize(w, bufferSize)
	for _, c := range comments {
		out.WriteString("c " + c + "\n")
	}
	line := append(out.AvailableBuffer(), "s "...)
	line = strconv.AppendInt(line, r.Cost, 10)
	out.Write(append(line, '\n'))
	for i, x := range r.Flow {
		line = append(out.AvailableBuffer(), "f "...)
		line = strconv.AppendInt(line, int64(p.From[i])+1, 10)
		line = append(line, ' ')
		line = strconv.AppendInt(line, int64(p.To[i])+1, 10)
		line = append(line, ' ')
		line = strconv.AppendInt(line, x, 10)
		out.Write(append(line, '\n'))
	}
	// A bufio.Writer keeps its first error and returns it here.
	if err := out.Flush(); err != nil {
		return fmt.Errorf("dimacs: %w", err)
	}
	return nil
}
