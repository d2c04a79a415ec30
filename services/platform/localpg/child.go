package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// child is the running server process.
type child struct {
	cmd      *exec.Cmd
	done     chan struct{}
	logStart int64 // where its part of the log begins
}

// maxLog is the size at which the log is put aside when the server starts.
const maxLog = 10 << 20

// spawn starts the server. Where the system allows, it is told to shut down
// should this process die without saying so.
func spawn(postgres string, args []string, acct account, logPath string) (*child, error) {
	log, err := openLog(logPath, acct)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	end, err := log.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, fmt.Errorf("find the end of PostgreSQL's log: %w", err)
	}
	cmd := acct.command(context.Background(), filepath.Dir(logPath), postgres, args...)
	cmd.Stdout, cmd.Stderr = log, log
	dieWithParent(cmd.SysProcAttr)
	cmd.SysProcAttr.Setpgid = true // a Ctrl-C is for us; we stop the server in order
	ch := &child{cmd: cmd, done: make(chan struct{}), logStart: end}
	started := make(chan error)
	go func() {
		// The kernel takes the end of the thread that started the child for
		// the end of its parent, so this thread stays with it.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			defer close(ch.done)
			_ = cmd.Wait() // how it ended stands in its log
		}
	}()
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start %s: %w", postgres, err)
	}
	return ch, nil
}

func openLog(path string, acct account) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && info.Size() > maxLog {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, fmt.Errorf("put PostgreSQL's log aside: %w", err)
		}
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open PostgreSQL's log: %w", err)
	}
	return f, acct.own(path)
}

func (ch *child) pid() int { return ch.cmd.Process.Pid }

// awaitReady waits until the server answers, has ended, or ctx ends.
func (ch *child) awaitReady(ctx context.Context, url string) error {
	ticker := time.NewTicker(20 * time.Millisecond)
	defer ticker.Stop()
	for {
		conn, err := pgx.Connect(ctx, url)
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-ch.done:
			return errors.New("it ended at once")
		case <-ctx.Done():
			return fmt.Errorf("%w: %w", context.Cause(ctx), err)
		case <-ticker.C:
		}
	}
}

// stopWithin shuts the server down: first in order (SIGINT, PostgreSQL's fast
// shutdown), and when that takes too long without ceremony (SIGQUIT, then
// SIGKILL).
func (ch *child) stopWithin(ctx context.Context, patience time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	ch.signal(syscall.SIGINT)
	select {
	case <-ch.done:
		return nil
	case <-ctx.Done():
	}
	ch.signal(syscall.SIGQUIT)
	grace := time.NewTimer(5 * time.Second)
	defer grace.Stop()
	select {
	case <-ch.done:
	case <-grace.C:
		ch.signal(syscall.SIGKILL)
		<-ch.done
	}
	return fmt.Errorf("PostgreSQL did not shut down in time and was killed; it recovers at its next start: %w", context.Cause(ctx))
}

// stop is stopWithin for a server that never came up.
func (ch *child) stop(patience time.Duration) {
	_ = ch.stopWithin(context.Background(), patience)
}

func (ch *child) signal(s syscall.Signal) {
	_ = ch.cmd.Process.Signal(s) // the only error is that it has ended
}

// lastWords is the end of what this server wrote to its log.
func (ch *child) lastWords(path string) string {
	text, err := os.ReadFile(path)
	if err != nil || int64(len(text)) < ch.logStart {
		return "(log unreadable)"
	}
	text = text[ch.logStart:]
	const most = 2000
	if len(text) > most {
		text = text[len(text)-most:]
	}
	return strings.TrimSpace(string(text))
}
