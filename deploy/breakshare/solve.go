package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"

	"breakshare.example/services/order"
	"breakshare.example/services/scheduling"
)

// solver runs one pure computation on a file: 0 solved, 2 no answer, with the reason on stderr.
type solver = func(ctx context.Context, args []string, stdout, stderr io.Writer) int

// solvers are the computations that the services lend to the command line.
func solvers() map[string]solver {
	all := make(map[string]solver)
	maps.Copy(all, order.Commands())
	maps.Copy(all, scheduling.Commands())
	return all
}

func runSolve(ctx context.Context, args []string, std streams) int {
	known := solvers()
	if len(args) == 0 || known[args[0]] == nil {
		fmt.Fprintf(std.err, "breakshare solve: name a problem of %v, then its file\n", slices.Sorted(maps.Keys(known)))
		return 2
	}
	return known[args[0]](ctx, args[1:], std.out, std.err)
}
