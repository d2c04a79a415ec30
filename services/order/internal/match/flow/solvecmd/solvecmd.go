// Package solvecmd is the command that solves a minimum-cost-flow file: it
// reads the DIMACS form, solves, checks the proof of optimality and writes the
// DIMACS solution with comment lines on time and memory.
package solvecmd

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"slices"
	"time"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/dimacs"
)

// Exit codes of Run.
const (
	exitSolved = 0
	// exitFailed: the output could not be written, or the solve was stopped.
	exitFailed = 1
	// exitRefused: no such file, malformed, too large, infeasible or unbounded.
	exitRefused = 2
)

// frugalArcs is the number of arcs from which the solver's memory is collected
// for the answer: that takes some milliseconds, however few they are.
const frugalArcs = 1 << 20

// Usage is the form of the command's arguments.
const Usage = "solve flow FILE   (a DIMACS minimum-cost-flow file, plain or gzip; - for standard input)"

// Run solves the file that args names and writes the solution to stdout.
// stdin is read where args is "-". Its result is the process's exit code: 0
// with an optimal solution; 2 with a message on stderr for bad usage and for
// input that is missing, malformed, infeasible or unbounded; 1 if ctx ended or
// stdout failed.
//
// The comments are
//
//	read_seconds   wall time of reading
//	solve_seconds  wall time of solving, without the check of the proof; the
//	               median where it was solved more than once, see solve
//	solves         how many times it was solved
//	peak_bytes     most memory the process has held so far
//	program_bytes  what of that is pages of the program's own file
//	arc_bytes      what the arcs alone take as they were read
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) != 1 {
		fmt.Fprintln(stderr, "usage:", Usage)
		return exitRefused
	}
	// Hardly anything allocated here is given up before the end: collecting
	// memory in between would only take time.
	defer debug.SetGCPercent(debug.SetGCPercent(-1))
	start := time.Now()
	p, err := read(args[0], stdin)
	if err != nil {
		fmt.Fprintf(stderr, "solve flow: %s: %v\n", args[0], err)
		return exitRefused
	}
	readTime := time.Since(start)
	result, times, err := solve(ctx, p)
	if err != nil {
		fmt.Fprintf(stderr, "solve flow: %s: %s\n", args[0], explain(p, err))
		if ctx.Err() != nil {
			return exitFailed
		}
		return exitRefused
	}
	if err := flow.Verify(p, result); err != nil {
		fmt.Fprintf(stderr, "solve flow: %s: the solution failed its check, please report this: %v\n", args[0], err)
		return exitFailed
	}
	memory := measure()
	err = dimacs.Write(stdout, p, result,
		fmt.Sprintf("read_seconds %.6f", readTime.Seconds()),
		fmt.Sprintf("solve_seconds %.7f", times[len(times)/2].Seconds()),
		fmt.Sprintf("solves %d", len(times)),
		fmt.Sprintf("peak_bytes %d", memory.peak),
		fmt.Sprintf("program_bytes %d", memory.program),
		fmt.Sprintf("arc_bytes %d", arcBytes(p)))
	if err != nil {
		fmt.Fprintf(stderr, "solve flow: cannot write the solution: %v\n", err)
		return exitFailed
	}
	return exitSolved
}

// solve solves p and returns how long that took. What is over soon is solved
// again, mostSolves times in all or until solvingEnough is spent: the first time
// a process does anything, it waits mostly for its own memory. The times are
// sorted.
func solve(ctx context.Context, p *flow.Problem) (result flow.Result, times []time.Duration, err error) {
	var solver flow.Solver
	for spent := time.Duration(0); ; {
		start := time.Now()
		result, err = solver.Solve(ctx, p, flow.Options{Frugal: p.Arcs() >= frugalArcs})
		took := time.Since(start)
		times, spent = append(times, took), spent+took
		if err != nil || spent > solvingEnough || len(times) == mostSolves {
			slices.Sort(times)
			return result, times, err
		}
	}
}

const (
	solvingEnough = 50 * time.Millisecond
	mostSolves    = 15
)

func read(name string, stdin io.Reader) (*flow.Problem, error) {
	if name == "-" {
		return dimacs.Read(stdin)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, errors.Unwrap(err)
	}
	defer f.Close()
	return dimacs.Read(f)
}

// explain words an error in the file's own terms: nodes and arcs from 1.
func explain(p *flow.Problem, err error) string {
	var infeasible *flow.InfeasibleError
	var unbounded *flow.UnboundedError
	var overflow *flow.OverflowError
	switch {
	case errors.As(err, &infeasible) && infeasible.Excess < 0:
		return fmt.Sprintf("infeasible: demands exceed supplies by %d; the n lines must sum to 0", -infeasible.Excess)
	case errors.As(err, &infeasible) && len(infeasible.Nodes) == p.Nodes():
		return fmt.Sprintf("infeasible: supplies exceed demands by %d; the n lines must sum to 0", infeasible.Excess)
	case errors.As(err, &infeasible) && len(infeasible.Nodes) == 1:
		return fmt.Sprintf("infeasible: %d units cannot leave node %d", infeasible.Excess, infeasible.Nodes[0]+1)
	case errors.As(err, &infeasible):
		return fmt.Sprintf("infeasible: %d units cannot leave these %d nodes: %s",
			infeasible.Excess, len(infeasible.Nodes), list(infeasible.Nodes))
	case errors.As(err, &unbounded):
		return fmt.Sprintf("unbounded: the cost falls by %d with every unit sent around these arcs without upper bound (a lines, counted from 1): %s",
			-unbounded.Cost, list(unbounded.Arcs))
	case errors.As(err, &overflow) && overflow.Arc >= 0:
		return fmt.Sprintf("too large: a line %d: %s", overflow.Arc+1, overflow.What)
	case errors.As(err, &overflow) && overflow.Node >= 0:
		return fmt.Sprintf("too large: node %d: %s", overflow.Node+1, overflow.What)
	}
	return err.Error()
}

// list writes numbers counted from 1, the first few of many.
func list(ids []int32) string {
	const most = 10
	text := ""
	for k, id := range ids {
		if k == most {
			return text + fmt.Sprintf(" and %d more", len(ids)-most)
		}
		if k > 0 {
			text += " "
		}
		text += fmt.Sprint(id + 1)
	}
	return text
}
