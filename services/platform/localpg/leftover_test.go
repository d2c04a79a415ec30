package localpg

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

// enterable is a folder the server's account can reach.
func enterable(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "breakshare-localpg-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "pg")
}

func testOptions(folder string) Options {
	return Options{Folder: folder, Unsafe: true, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
}

// A server that runs on without its parent, as on systems that do not tell it
// of the parent's death, is stopped and another takes over.
func TestALeftoverServerIsStopped(t *testing.T) {
	t.Parallel()
	folder := enterable(t)
	CopyOriginal(t, folder)
	first, err := Start(t.Context(), testOptions(folder))
	if err != nil {
		t.Fatal(err)
	}
	orphan := first.child
	if err := first.lock.Close(); err != nil { // as the kernel does for a dead process
		t.Fatal(err)
	}
	second, err := Start(t.Context(), testOptions(folder))
	if err != nil {
		t.Fatal(err)
	}
	defer second.Stop(context.Background())
	<-orphan.done
	conn, err := pgx.Connect(t.Context(), second.AdminURL())
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestAPidFileThatIsNoServers(t *testing.T) {
	t.Parallel()
	folder := enterable(t)
	CopyOriginal(t, folder)
	first, err := Start(t.Context(), testOptions(folder))
	if err != nil {
		t.Fatal(err)
	}
	if err := first.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	pidFile := filepath.Join(first.DataFolder(), "postmaster.pid")
	// This process has the pid: it lives, but is no PostgreSQL. It must be
	// left alone and the cluster come up.
	if err := os.WriteFile(pidFile, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	second, err := Start(t.Context(), testOptions(folder))
	if err != nil {
		t.Fatal(err)
	}
	if err := second.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(pidFile, []byte("nonsense\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), testOptions(folder)); err == nil || !strings.Contains(err.Error(), "nonsense") {
		t.Errorf("got %v, want an error that quotes the pid file", err)
	}
}

// PostgreSQL's log is for the reader of the error as well.
func TestAServerThatCannotStartSaysWhy(t *testing.T) {
	t.Parallel()
	folder := enterable(t)
	CopyOriginal(t, folder)
	first, err := Start(t.Context(), testOptions(folder))
	if err != nil {
		t.Fatal(err)
	}
	if err := first.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(first.DataFolder(), "global", "pg_control")); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), testOptions(folder)); err == nil || !strings.Contains(err.Error(), "pg_control") {
		t.Errorf("got %v, want an error that tells of pg_control", err)
	}
}

func TestParentsMustBeEnterable(t *testing.T) {
	t.Parallel()
	stranger := account{name: "stranger", uid: 54321, gid: 54321, switches: true}
	dir := enterable(t)
	closed := filepath.Join(filepath.Dir(dir), "closed")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	err := stranger.checkReach(filepath.Join(closed, "pg"))
	if err == nil || !strings.Contains(err.Error(), "chmod o+x "+closed) {
		t.Errorf("got %v, want how to open %s", err, closed)
	}
	if err := stranger.checkReach(dir); err != nil {
		t.Errorf("an open folder is refused: %v", err)
	}
	own := account{uid: os.Getuid(), gid: os.Getgid(), switches: true}
	if err := own.checkReach(filepath.Join(closed, "pg")); err != nil {
		t.Errorf("the owner is refused: %v", err)
	}
}

func TestFindSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	_, err := Find("", t.TempDir(), "9")
	var missing *NotFoundError
	if !errors.As(err, &missing) || missing.Want != "9" || len(missing.Looked) == 0 {
		t.Fatalf("got %v", err)
	}
	for _, part := range []string{"PostgreSQL 9, which made the data", "apt-get install postgresql", BinDirVariable} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q says nothing of %q", err, part)
		}
	}
}

func TestTheBundleIsLookedAtFirst(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	bin := filepath.Join(root, "bundle", bundleVersion, "bin")
	if err := os.MkdirAll(bin, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"postgres": "#!/bin/sh\necho 'postgres (PostgreSQL) 17.9'\n", "initdb": "#!/bin/sh\n"} {
		if err := os.WriteFile(filepath.Join(bin, name), []byte(text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	got, err := Find("", root, "")
	want := Binaries{Initdb: filepath.Join(bin, "initdb"), Postgres: filepath.Join(bin, "postgres"), Version: "17.9", Major: 17}
	if err != nil || got != want {
		t.Errorf("got %+v (%v), want %+v", got, err, want)
	}
}
