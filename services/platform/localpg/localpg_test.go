package localpg_test

import (
	"bufio"
	"context"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/localpg"
	"breakshare.example/services/platform/testkit"
)

// helperVariable turns this test binary into a program that runs the cluster in
// the folder it names, to be killed by a test.
const helperVariable = "BREAKSHARE_LOCALPG_TEST_HELPER"

func TestMain(m *testing.M) {
	if folder := os.Getenv(helperVariable); folder != "" {
		runHelper(folder)
		return
	}
	code := m.Run()
	if err := localpg.RemoveOriginal(); err != nil && code == 0 {
		os.Stderr.WriteString(err.Error() + "\n")
		code = 1
	}
	os.Exit(code)
}

func runHelper(folder string) {
	cluster, err := localpg.Start(context.Background(), localpg.Options{Folder: folder, Log: quiet()})
	if err != nil {
		os.Stdout.WriteString("failed: " + err.Error() + "\n")
		return
	}
	os.Stdout.WriteString("ready\n")
	<-cluster.Done()
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// stopped is the folder of a cluster that has been stopped.
func stopped(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(testkit.Folder(t), "pg")
	localpg.CopyOriginal(t, folder)
	return folder
}

func start(t *testing.T, folder string) *localpg.Cluster {
	t.Helper()
	return startWith(t, localpg.Options{Folder: folder, Log: quiet()})
}

func startWith(t *testing.T, o localpg.Options) *localpg.Cluster {
	t.Helper()
	cluster, err := localpg.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := cluster.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return cluster
}

func query[T any](t *testing.T, cluster *localpg.Cluster, sql string) (v T) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), cluster.AdminURL())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

const (
	write = `WITH made AS (SELECT lo_from_bytea(4711, 'spawn')) SELECT 1 FROM made`
	read  = `SELECT convert_from(lo_get(4711), 'UTF8')`
)

func TestDataOutlivesStop(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(testkit.Folder(t), "pg")
	first := start(t, folder)
	query[int](t, first, write)
	if err := first.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	select {
	case <-first.Done():
	default:
		t.Error("Done is open after Stop")
	}
	second := start(t, folder)
	if got := query[string](t, second, read); got != "spawn" {
		t.Errorf("read %q back", got)
	}
	if first.AdminURL() != second.AdminURL() {
		t.Error("the administrator's URL changed")
	}
	for _, setting := range []string{"fsync", "synchronous_commit", "full_page_writes", "data_checksums"} {
		if got := query[string](t, second, "SELECT current_setting('"+setting+"')"); got != "on" {
			t.Errorf("%s is %s, want on", setting, got)
		}
	}
	if got := query[string](t, second, `SELECT current_setting('listen_addresses')`); got != "" {
		t.Errorf("listens on %q without being asked to", got)
	}
}

func TestOthersCannotEnter(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(testkit.Folder(t), "pg")
	cluster := startWith(t, localpg.Options{Folder: folder, Unsafe: true, Log: quiet()})
	modes := map[string]os.FileMode{folder: 0o700, filepath.Join(folder, "admin-password"): 0o600, cluster.DataFolder(): 0o700}
	for path, want := range modes {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != want {
			t.Errorf("%s has mode %o, want %o", path, got, want)
		}
	}
	cfg, err := pgx.ParseConfig(cluster.AdminURL())
	if err != nil {
		t.Fatal(err)
	}
	cfg.Password = "guess"
	if conn, err := pgx.ConnectConfig(t.Context(), cfg); err == nil {
		conn.Close(t.Context())
		t.Error("a wrong password is let in")
	}
}

func TestAFolderServesOneProcess(t *testing.T) {
	t.Parallel()
	folder := stopped(t)
	startWith(t, localpg.Options{Folder: folder, Unsafe: true, Log: quiet()})
	_, err := localpg.Start(t.Context(), localpg.Options{Folder: folder, Log: quiet()})
	if err == nil || !strings.Contains(err.Error(), "another process runs the cluster") {
		t.Errorf("got %v", err)
	}
}

// The process that runs the cluster is killed without a word.
func TestStartAfterOurOwnDeath(t *testing.T) {
	t.Parallel()
	folder := stopped(t)
	helper := exec.Command(os.Args[0])
	helper.Env = append(os.Environ(), helperVariable+"="+folder)
	out, err := helper.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := helper.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if line != "ready\n" {
		t.Fatalf("helper says %q (%v)", line, err)
	}
	if err := helper.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = helper.Wait() // it was killed, which is what Wait says
	if got := query[int](t, start(t, folder), `SELECT 42`); got != 42 {
		t.Errorf("read %d", got)
	}
}

// The server itself is killed: what was committed is there after recovery.
func TestStartAfterTheServersDeath(t *testing.T) {
	t.Parallel()
	folder := stopped(t)
	first := start(t, folder)
	query[int](t, first, write)
	kill(t, filepath.Join(first.DataFolder(), "postmaster.pid"))
	<-first.Done()
	if err := first.Stop(t.Context()); err != nil {
		t.Errorf("stopping a dead server: %v", err)
	}
	if got := query[string](t, start(t, folder), read); got != "spawn" {
		t.Errorf("read %q back", got)
	}
}

func TestALongFolderNameStillHasASocket(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(testkit.Folder(t), strings.Repeat("long", 25), "pg")
	localpg.CopyOriginal(t, folder)
	cluster := startWith(t, localpg.Options{Folder: folder, Unsafe: true, Log: quiet()})
	if got := query[int](t, cluster, `SELECT 42`); got != 42 {
		t.Errorf("read %d", got)
	}
	socket := query[string](t, cluster, `SELECT current_setting('unix_socket_directories')`)
	if err := cluster.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(socket); !os.IsNotExist(err) {
		t.Errorf("the socket's folder %s was left behind (%v)", socket, err)
	}
}

func TestStartRefuses(t *testing.T) {
	t.Parallel()
	made := testkit.Folder(t)
	if err := os.MkdirAll(filepath.Join(made, "data"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		opts localpg.Options
		says string
	}{
		"no folder":     {localpg.Options{}, "no folder"},
		"bad port":      {localpg.Options{Folder: made, Port: 70000}, "port 70000"},
		"foreign data":  {localpg.Options{Folder: made}, "holds no PostgreSQL data"},
		"no binaries":   {localpg.Options{Folder: filepath.Join(made, "b"), BinDir: made}, "initdb is missing"},
		"file in place": {localpg.Options{Folder: "/dev/null/pg"}, "/dev/null"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c.opts.Log = quiet()
			cluster, err := localpg.Start(t.Context(), c.opts)
			if err == nil {
				_ = cluster.Stop(t.Context())
			}
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want an error with %q", err, c.says)
			}
		})
	}
}

func TestAPortOnTheLoopback(t *testing.T) {
	t.Parallel()
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := probe.Addr().(*net.TCPAddr).Port
	if err := probe.Close(); err != nil {
		t.Fatal(err)
	}
	folder := stopped(t)
	cluster := startWith(t, localpg.Options{Folder: folder, Port: port, Unsafe: true, Log: quiet()})
	cfg, err := pgx.ParseConfig(cluster.AdminURL())
	if err != nil {
		t.Fatal(err)
	}
	cfg.Host = "127.0.0.1"
	conn, err := pgx.ConnectConfig(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	var user string
	if err := conn.QueryRow(t.Context(), `SELECT current_user`).Scan(&user); err != nil || user != localpg.Superuser {
		t.Errorf("user is %q (%v), want %s", user, err, localpg.Superuser)
	}
}
