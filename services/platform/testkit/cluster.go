package testkit

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"

	"go.uber.org/goleak"

	"breakshare.example/services/platform/localpg"
)

// ClusterVariable is the environment variable that names a test cluster: the
// URL of an administrator who may create databases and roles. The test script
// starts one cluster for all packages and sets it; without it each test process
// starts its own.
const ClusterVariable = "BREAKSHARE_TEST_POSTGRES"

// clusterURL starts the cluster of this process once.
var clusterURL = sync.OnceValues(func() (string, error) {
	if url := os.Getenv(ClusterVariable); url != "" {
		return url, nil
	}
	return startCluster()
})

// startCluster starts a cluster among the temporary files. Nothing runs when a
// test process ends, least of all when it is killed, so a shell waits for that
// and tidies up.
func startCluster() (string, error) {
	dir, err := os.MkdirTemp("", "breakshare-test-")
	if err != nil {
		return "", fmt.Errorf("make a folder for the test cluster: %w", err)
	}
	// The account PostgreSQL runs as must pass through; the cluster's own
	// folder inside is closed.
	if err := os.Chmod(dir, 0o755); err != nil {
		return "", fmt.Errorf("open the test cluster's folder: %w", err)
	}
	if err := tidyAfterwards(dir); err != nil {
		return "", err
	}
	cluster, err := localpg.Start(context.Background(), localpg.Options{
		Folder:         filepath.Join(dir, "pg"),
		MaxConnections: 300,
		Unsafe:         true,
		Log:            slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	if err != nil {
		return "", fmt.Errorf("start a test cluster (or name one in %s): %w", ClusterVariable, err)
	}
	return cluster.AdminURL(), nil
}

// tidy waits for the end of its input, stops the server without ceremony, waits
// up to 10 s for it, and removes the folder.
const tidy = `
cat >/dev/null
pid=$(head -n 1 "$1/pg/data/postmaster.pid" 2>/dev/null)
if [ -n "$pid" ]; then
	kill -QUIT "$pid" 2>/dev/null
	tries=100
	while [ $tries -gt 0 ] && kill -0 "$pid" 2>/dev/null; do sleep 0.1; tries=$((tries-1)); done
fi
rm -rf "$1"
`

// tidyAfterwards starts the shell, whose input is a pipe that ends when this
// process does, in whatever way.
func tidyAfterwards(dir string) error {
	r, w, err := os.Pipe()
	if err != nil {
		return fmt.Errorf("make a pipe: %w", err)
	}
	defer r.Close()
	defer w.Close()
	if err := keepOpen(w); err != nil {
		return fmt.Errorf("keep a pipe open: %w", err)
	}
	cmd := exec.Command("sh", "-c", tidy, "sh", dir)
	cmd.Stdin = r
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // survives a Ctrl-C meant for the tests
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start the shell that removes the test cluster: %w", err)
	}
	return cmd.Process.Release()
}

// keepOpen leaves a second descriptor of the file open until this process ends;
// only the kernel closes it. Children do not inherit it.
func keepOpen(f *os.File) error {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return err
	}
	syscall.CloseOnExec(fd)
	return nil
}

// IgnoreCluster has goleak overlook the goroutine that stays with the test
// cluster until the process ends.
func IgnoreCluster() goleak.Option {
	return goleak.IgnoreAnyFunction("breakshare.example/services/platform/localpg.spawn.func1")
}
