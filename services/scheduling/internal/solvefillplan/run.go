// Package solvefillplan owns the command that plans fills from a file: it reads
// an instance of format fillplan-1, searches until its time is up and prints the
// best plan with its cost and proven bound.
package solvefillplan

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"breakshare.example/services/scheduling/internal/fillplan"
)

// Exit codes of Run.
const (
	// ExitDone: a plan was printed.
	ExitDone = 0
	// ExitFailed: the plan could not be printed.
	ExitFailed = 1
	// ExitRefused: the command line or the instance is malformed; standard error
	// says what and where.
	ExitRefused = 2
)

const usage = "usage: breakshare solve fillplan FILE [--seconds N]\n" +
	"  FILE         an instance of format fillplan-1\n" +
	"  --seconds N  stop within N seconds, reading included (default 10)\n"

const (
	defaultSeconds = 10
	// mostSeconds is a day.
	mostSeconds = 86_400
	// reserve is kept back from the time for starting and printing, at most a
	// quarter of it.
	reserve = 400 * time.Millisecond
)

// answer is the plan as printed: the format's plan, with cost and bound in cents.
type answer struct {
	Instance string      `json:"instance"`
	Fills    [][3]int    `json:"fills"`
	Cost     json.Number `json:"cost"`
	Bound    json.Number `json:"bound"`
}

// Run carries out `solve fillplan` with the arguments after these words and
// returns the exit code. It searches on the calling goroutine; when ctx ends, it
// prints the best plan so far.
func Run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	start := time.Now()
	file, limit, err := parse(args)
	if errors.Is(err, errHelp) {
		fmt.Fprint(stdout, usage)
		return ExitDone
	}
	if err != nil {
		fmt.Fprintf(stderr, "solve fillplan: %v\n%s", err, usage)
		return ExitRefused
	}
	in, err := read(file)
	if err != nil {
		fmt.Fprintf(stderr, "solve fillplan: %s: %v\n", file, err)
		return ExitRefused
	}
	ctx, cancel := context.WithDeadline(ctx, start.Add(limit-min(reserve, limit/4)))
	defer cancel()
	result, err := fillplan.Solve(ctx, in, fillplan.Options{})
	if err != nil {
		fmt.Fprintf(stderr, "solve fillplan: %s: %v\n", file, err)
		return ExitRefused
	}
	if err := print(stdout, result); err != nil {
		fmt.Fprintf(stderr, "solve fillplan: %v\n", err)
		return ExitFailed
	}
	return ExitDone
}

var errHelp = errors.New("help asked for")

// parse reads the command line; flags and the file may come in any order.
func parse(args []string) (file string, limit time.Duration, err error) {
	limit = defaultSeconds * time.Second
	for i := 0; i < len(args); i++ {
		name, value, given := strings.Cut(args[i], "=")
		switch {
		case name == "--help" || name == "-h":
			return "", 0, errHelp
		case name == "--seconds" || name == "-seconds":
			if !given {
				if i++; i == len(args) {
					return "", 0, errors.New("--seconds needs a number")
				}
				value = args[i]
			}
			if limit, err = seconds(value); err != nil {
				return "", 0, err
			}
		case strings.HasPrefix(args[i], "-"):
			return "", 0, fmt.Errorf("unknown flag %s", args[i])
		case file != "":
			return "", 0, fmt.Errorf("one FILE is expected, got %q and %q", file, args[i])
		default:
			file = args[i]
		}
	}
	if file == "" {
		return "", 0, errors.New("FILE is missing")
	}
	return file, limit, nil
}

func seconds(text string) (time.Duration, error) {
	n, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(n) || n <= 0 || n > mostSeconds {
		return 0, fmt.Errorf("--seconds must be a number above 0 and up to %d, got %q", mostSeconds, text)
	}
	return time.Duration(n * float64(time.Second)), nil
}

func read(file string) (*fillplan.Instance, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("open instance: %w", err)
	}
	defer f.Close()
	return fillplan.Decode(f)
}

func print(w io.Writer, r fillplan.Result) error {
	a := answer{Instance: r.Plan.Instance, Fills: [][3]int{}, Cost: cents(r.M), Bound: cents(r.BoundM)}
	for _, f := range r.Plan.Fills {
		a.Fills = append(a.Fills, [3]int{f.Room, f.Programme, f.Week})
	}
	if err := json.NewEncoder(w).Encode(a); err != nil {
		return fmt.Errorf("print plan: %w", err)
	}
	return nil
}

// cents writes thousandths of a cent as cents, exactly.
func cents(m int64) json.Number {
	text := fmt.Sprintf("%d.%03d", m/1000, m%1000)
	return json.Number(strings.TrimRight(strings.TrimRight(text, "0"), "."))
}
