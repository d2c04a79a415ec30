package localpg

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// leftoverPatience is how long a server without its parent may take to shut
// down in order.
const leftoverPatience = 20 * time.Second

// stopLeftover stops a server that an earlier, killed process of ours left
// running on this data, and removes the pid file of one that crashed. The
// caller holds the folder's lock, so whatever runs here has no master.
func stopLeftover(ctx context.Context, data string, log *slog.Logger) error {
	pidFile := filepath.Join(data, "postmaster.pid")
	pid, err := readPid(pidFile)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !running(pid, data) {
		log.Warn("PostgreSQL had crashed; it recovers now", "data", data)
		if err := os.Remove(pidFile); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("remove the pid file of a crashed server: %w", err)
		}
		return nil
	}
	log.Warn("stopping a PostgreSQL that outlived its process", "data", data, "pid", pid)
	for _, try := range []struct {
		sig      syscall.Signal
		patience time.Duration
	}{{syscall.SIGINT, leftoverPatience}, {syscall.SIGQUIT, 5 * time.Second}, {syscall.SIGKILL, 5 * time.Second}} {
		if err := syscall.Kill(pid, try.sig); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("stop the PostgreSQL with pid %d that still runs on %s: %w: stop it yourself", pid, data, err)
		}
		if gone, err := awaitEnd(ctx, pid, data, try.patience); gone || err != nil {
			return err
		}
	}
	return fmt.Errorf("the PostgreSQL with pid %d still runs on %s and does not end: stop it yourself", pid, data)
}

// readPid reads the first line of postmaster.pid.
func readPid(path string) (int, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return 0, fmt.Errorf("read the server's pid: %w", err)
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(first))
	if err != nil || pid <= 1 {
		return 0, fmt.Errorf("%s does not begin with a pid but with %q: see that no PostgreSQL runs on this data, then remove the file", path, first)
	}
	return pid, nil
}

func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}

// serves tells whether the process is a server on this data and not another
// that got the same pid after a reboot: PostgreSQL works in its data folder.
// Where the system does not say, a living pid is taken for the server.
func serves(pid int, data string) bool {
	if runtime.GOOS != "linux" {
		return true
	}
	cwd, err := os.Readlink("/proc/" + strconv.Itoa(pid) + "/cwd")
	if err != nil {
		// Another user's process, or one that is just ending.
		return false
	}
	real, err := filepath.EvalSymlinks(data)
	return err == nil && cwd == real
}

// running asks both: a process that has ended but that nobody has waited for
// still has a pid, and no folder any more.
func running(pid int, data string) bool { return alive(pid) && serves(pid, data) }

// awaitEnd reports whether the server ended within patience. The error is
// that of ctx.
func awaitEnd(ctx context.Context, pid int, data string, patience time.Duration) (bool, error) {
	wait, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for running(pid, data) {
		if sleep(wait, 50*time.Millisecond) != nil {
			return false, context.Cause(ctx)
		}
	}
	return true, nil
}
