// Command breakshare is the whole suite in one binary: all of it on one machine, one service
// of it, the import of a co-op's files, a day of the demonstration co-op, and the solvers on
// files of their own.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{out: os.Stdout, err: os.Stderr})
	stop()
	os.Exit(code)
}

// run does what the arguments ask for and returns the exit code: 0 done, 1 failed, 2 asked
// for something that cannot be.
func run(ctx context.Context, args []string, std streams) int {
	if len(args) == 0 {
		usage(std.err)
		return 2
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return c.run(ctx, args[1:], std)
		}
	}
	fmt.Fprintf(std.err, "breakshare: there is no command %q\n\n", args[0])
	usage(std.err)
	return 2
}
