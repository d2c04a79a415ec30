// Package localpg owns a private PostgreSQL cluster of one machine: finding or
// fetching the server's binaries, making the cluster in a data folder, running
// it as a child of this process and as an unprivileged user where this process
// is root, and picking it up again after a crash of either.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Superuser is the cluster's administrator, who is also its owner's database
// role. Its password is made at initdb and kept in the data folder.
const Superuser = "breakshare_admin"

// Options of a cluster. Folder is needed; other zero values are usable.
type Options struct {
	// Folder holds everything of the cluster: data, socket, log, password and
	// fetched binaries. It is made where it is not there.
	Folder string
	// BinDir is the folder of the binaries postgres and initdb. Empty: see Find.
	BinDir string
	// Fetch downloads PostgreSQL into Folder where the machine has none that
	// will do; see Fetch.
	Fetch bool
	// Port on 127.0.0.1, 1 to 65535. 0 listens on a unix socket only.
	Port int
	// MaxConnections the server takes. Default 100.
	MaxConnections int
	// Unsafe turns off everything that makes commits survive a crash. Only for
	// tests: a killed server loses or corrupts its data.
	Unsafe bool
	// StopTimeout is how long Stop waits for a clean shutdown before it kills.
	// Default 30 s.
	StopTimeout time.Duration
	// Log hears of starts, stops and recoveries. Default slog.Default().
	Log *slog.Logger
}

// Cluster is a running server.
type Cluster struct {
	opts     Options
	paths    paths
	password string
	socket   string // folder of the unix socket
	lock     *os.File
	child    *child
	stopOnce sync.Once
	stopErr  error
}

const (
	// socketPort names the socket file where no port is asked for.
	socketPort   = 5432
	startTimeout = 60 * time.Second
)

// Start brings the cluster in o.Folder up and waits until it answers. A cluster
// that is not there yet is made; one that a killed process left running is shut
// down first, one that crashed recovers. A second Start on a folder in use
// fails. The errors say what to install or which folder to open up.
func Start(ctx context.Context, o Options) (*Cluster, error) {
	o, err := o.withDefaults()
	if err != nil {
		return nil, err
	}
	acct, err := serverAccount()
	if err != nil {
		return nil, fmt.Errorf("localpg: %w", err)
	}
	p := pathsIn(o.Folder)
	if err := acct.makeFolder(p.root); err != nil {
		return nil, fmt.Errorf("localpg: %w", err)
	}
	lock, err := lockFolder(p.lock)
	if err != nil {
		return nil, fmt.Errorf("localpg: %w", err)
	}
	c := &Cluster{opts: o, paths: p, lock: lock}
	if err := c.start(ctx, acct); err != nil {
		return nil, fmt.Errorf("localpg: %w", errors.Join(err, c.release()))
	}
	return c, nil
}

func (o Options) withDefaults() (Options, error) {
	if o.Folder == "" {
		return o, errors.New("localpg: no folder; give the folder that holds the cluster")
	}
	if o.Port < 0 || o.Port > 65535 {
		return o, fmt.Errorf("localpg: port %d: give 1 to 65535, or 0 for a unix socket only", o.Port)
	}
	folder, err := filepath.Abs(o.Folder)
	if err != nil {
		return o, fmt.Errorf("localpg: folder %s: %w", o.Folder, err)
	}
	o.Folder = folder
	if o.MaxConnections == 0 {
		o.MaxConnections = 100
	}
	if o.StopTimeout == 0 {
		o.StopTimeout = 30 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return o, nil
}

func (c *Cluster) start(ctx context.Context, acct account) error {
	bin, err := c.binaries(ctx)
	if err != nil {
		return err
	}
	if err := stopLeftover(ctx, c.paths.data, c.opts.Log); err != nil {
		return err
	}
	if err := acct.takeOver(c.paths); err != nil {
		return err
	}
	if c.password, err = acct.initdb(ctx, bin, c.paths, c.opts.Unsafe); err != nil {
		return err
	}
	if c.socket, err = acct.socketFolder(c.paths); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, startTimeout)
	defer cancel()
	return c.launch(ctx, bin, acct)
}

func (c *Cluster) binaries(ctx context.Context) (Binaries, error) {
	want := c.paths.dataVersion()
	bin, err := Find(c.opts.BinDir, c.paths.root, want)
	var missing *NotFoundError
	if err == nil || !c.opts.Fetch || !errors.As(err, &missing) || (want != "" && want != bundleMajor) {
		return bin, err
	}
	c.opts.Log.Info("this machine has no PostgreSQL that will do: fetching one", "folder", c.paths.bundle)
	if err := Fetch(ctx, c.paths.root); err != nil {
		return Binaries{}, fmt.Errorf("%w; fetching it failed: %w", missing, err)
	}
	return Find(c.opts.BinDir, c.paths.root, want)
}

// launch starts the server and waits for it to answer. The processes of a
// server that was killed may hold its shared memory for a moment longer: then
// it tries again.
func (c *Cluster) launch(ctx context.Context, bin Binaries, acct account) error {
	for {
		ch, err := spawn(bin.Postgres, c.arguments(), acct, c.paths.log)
		if err != nil {
			return err
		}
		err = ch.awaitReady(ctx, c.AdminURL())
		if err == nil {
			c.child = ch
			c.opts.Log.Info("PostgreSQL is up", "folder", c.opts.Folder, "version", bin.Version, "pid", ch.pid())
			return nil
		}
		ch.stop(5 * time.Second)
		said := ch.lastWords(c.paths.log)
		if !strings.Contains(said, "shared memory block") || sleep(ctx, 200*time.Millisecond) != nil {
			return fmt.Errorf("PostgreSQL %s did not start in %s: %w; its log %s ends:\n%s", bin.Version, c.opts.Folder, err, c.paths.log, said)
		}
	}
}

func (c *Cluster) arguments() []string {
	set := []string{
		"unix_socket_directories=" + c.socket,
		"unix_socket_permissions=0700",
		"port=" + strconv.Itoa(c.port()),
		"max_connections=" + strconv.Itoa(c.opts.MaxConnections),
		"timezone=UTC",
		"log_timezone=UTC",
		"logging_collector=off",
	}
	if c.opts.Port == 0 {
		set = append(set, "listen_addresses=")
	} else {
		set = append(set, "listen_addresses=127.0.0.1")
	}
	if c.opts.Unsafe {
		set = append(set, "fsync=off", "synchronous_commit=off", "full_page_writes=off", "wal_level=minimal", "max_wal_senders=0")
	} else {
		set = append(set, "fsync=on", "synchronous_commit=on", "full_page_writes=on")
	}
	args := []string{"-D", c.paths.data}
	for _, s := range set {
		args = append(args, "-c", s)
	}
	return args
}

func (c *Cluster) port() int {
	if c.opts.Port == 0 {
		return socketPort
	}
	return c.opts.Port
}

// AdminURL connects to the database postgres as the cluster's administrator,
// over the unix socket. It holds the password: never log it.
func (c *Cluster) AdminURL() string {
	u := url.URL{Scheme: "postgres", User: url.UserPassword(Superuser, c.password), Path: "/postgres"}
	u.RawQuery = url.Values{"host": {c.socket}, "port": {strconv.Itoa(c.port())}}.Encode()
	return u.String()
}

// DataFolder is PostgreSQL's own data directory.
func (c *Cluster) DataFolder() string { return c.paths.data }

// Done is closed when the server has ended, by Stop or on its own.
func (c *Cluster) Done() <-chan struct{} { return c.child.done }

// Stop shuts the server down cleanly: open transactions are rolled back,
// committed ones are on disk. When ctx or StopTimeout ends first, the server is
// killed and recovers at the next Start; Stop then returns an error. Stopping
// twice is harmless.
func (c *Cluster) Stop(ctx context.Context) error {
	c.stopOnce.Do(func() {
		err := c.child.stopWithin(ctx, c.opts.StopTimeout)
		c.stopErr = errors.Join(err, c.release())
		if c.stopErr != nil {
			c.stopErr = fmt.Errorf("localpg: %w", c.stopErr)
		}
	})
	return c.stopErr
}

// release gives the folder free for another process.
func (c *Cluster) release() error {
	if c.socket != "" && c.socket != c.paths.run {
		if err := os.RemoveAll(c.socket); err != nil {
			return fmt.Errorf("remove socket folder: %w", err)
		}
	}
	return c.lock.Close()
}

// sleep waits, or returns why ctx ended.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}

// command prepares a program that runs as the server's account, in a folder
// that account can enter.
func (a account) command(ctx context.Context, dir, program string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Dir = dir
	cmd.Env = a.environment()
	cmd.SysProcAttr = a.attributes()
	return cmd
}
