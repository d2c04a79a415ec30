package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
)

// streams are where a command writes: its result, and everything else.
type streams struct{ out, err io.Writer }

// command is one word of the command line.
type command struct {
	name, arguments, about string
	run                    func(ctx context.Context, args []string, std streams) int
}

// commands lists the words in the order in which a newcomer meets them.
func commands() []command {
	return []command{
		{"all", "[flags]", "run the whole suite on this machine", runAll},
		{"demo", "[flags]", "run one day of a co-op from its files", runDemo},
		{"import", "[flags] DIR", "import a co-op's files into a running suite", runImport},
		{"serve", "[flags] SERVICE", "run one service of the suite", runServe},
		{"solve", "PROBLEM FILE", "solve a problem from a file and print the answer", runSolve},
		{"version", "", "print the version", runVersion},
	}
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "usage: breakshare COMMAND")
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-24s %s\n", c.name+" "+c.arguments, c.about)
	}
}

// parse reads a command's flags and says what it wants of the rest.
func parse(flags *flag.FlagSet, args []string, std streams, operands ...string) (rest []string, code int, ok bool) {
	flags.SetOutput(std.err)
	flags.Usage = func() {
		fmt.Fprintf(std.err, "usage: breakshare %s [flags]", flags.Name())
		for _, o := range operands {
			fmt.Fprint(std.err, " ", o)
		}
		fmt.Fprintln(std.err)
		flags.PrintDefaults()
	}
	err := flags.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return nil, 0, false
	case err != nil:
		return nil, 2, false
	case flags.NArg() != len(operands):
		fmt.Fprintf(std.err, "breakshare %s: want %d argument(s) %v, got %d\n", flags.Name(), len(operands), operands, flags.NArg())
		flags.Usage()
		return nil, 2, false
	}
	return flags.Args(), 0, true
}

// failed reports an error of a command and returns the exit code.
func failed(std streams, name string, err error) int {
	fmt.Fprintf(std.err, "breakshare %s: %v\n", name, err)
	return 1
}

// ended is the exit code of a command that serves until it is told to stop. Being told so
// while it was still starting is no failure either.
func ended(ctx context.Context, std streams, name string, err error) int {
	if err == nil || ctx.Err() != nil && (errors.Is(err, ctx.Err()) || errors.Is(err, context.Cause(ctx))) {
		return 0
	}
	return failed(std, name, err)
}
