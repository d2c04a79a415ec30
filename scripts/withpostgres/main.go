// Command withpostgres runs a command beside a private PostgreSQL of its own, so that the
// many test processes of one run share a cluster instead of starting one each.
//
//	withpostgres COMMAND [ARGUMENT...]
//
// The command finds the cluster in the environment variable BREAKSHARE_TEST_POSTGRES.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"time"

	"breakshare.example/services/platform/localpg"
)

func main() {
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "usage: withpostgres COMMAND [ARGUMENT...]")
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := run(ctx, os.Args[1], os.Args[2:])
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		os.Exit(max(exit.ExitCode(), 1))
	case err != nil:
		fmt.Fprintln(os.Stderr, "withpostgres:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, name string, args []string) (err error) {
	dir, err := os.MkdirTemp("", "breakshare-test-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	cluster, err := localpg.Start(ctx, localpg.Options{Folder: dir, Unsafe: true, Fetch: true, MaxConnections: 400})
	if err != nil {
		return err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 30*time.Second)
		defer cancel()
		err = errors.Join(err, cluster.Stop(ctx))
	}()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = append(os.Environ(), "BREAKSHARE_TEST_POSTGRES="+cluster.AdminURL())
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 10 * time.Second
	return cmd.Run()
}
