package main

import (
	"context"
	"flag"
	"fmt"
	"runtime/debug"
)

func runVersion(_ context.Context, args []string, std streams) int {
	if _, code, ok := parse(flag.NewFlagSet("version", flag.ContinueOnError), args, std); !ok {
		return code
	}
	fmt.Fprintln(std.out, "breakshare", version())
	return 0
}

// version is the module's version where the binary was built from one, else the commit.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return "unknown"
}
