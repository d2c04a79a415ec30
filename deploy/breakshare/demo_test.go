package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"breakshare.example/deploy/internal/demoday"
	"breakshare.example/services/platform/testkit"
)

const demoCoop = "../../testdata/coop"

// asked runs the binary's commands and returns the exit code and what was printed.
func asked(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = run(t.Context(), args, streams{out: &out, err: &err})
	return code, out.String(), err.String()
}

// settingsFile keeps a demo's suite to a database of the test.
func settingsFile(t *testing.T) (file, data string) {
	t.Helper()
	folder := testkit.Folder(t)
	data = filepath.Join(folder, "data")
	text, err := json.Marshal(map[string]string{"data": data, "listen": "127.0.0.1:0", "postgres_url": testkit.Postgres(t)})
	if err != nil {
		t.Fatal(err)
	}
	file = filepath.Join(folder, "settings.json")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return file, data
}

// process is the binary as a process of its own, ended with the test.
func process(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], args...)
	cmd.Env = append(os.Environ(), asBinary+"=1")
	return cmd
}

// TestDemoPrintsOneJSONObject runs the demonstration as a program would read it.
func TestDemoPrintsOneJSONObject(t *testing.T) {
	t.Parallel()
	file, _ := settingsFile(t)
	cmd := process(t, "demo", "--once", "--json", "--config", file, "--coop", demoCoop)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v:\n%s", err, stderr.String())
	}
	decoder := json.NewDecoder(&stdout)
	decoder.DisallowUnknownFields()
	var s demoday.Summary
	if err := decoder.Decode(&s); err != nil {
		t.Fatal(err)
	}
	if decoder.More() {
		t.Error("stdout has more than one object")
	}
	if s.Day != "2026-11-26" || len(s.Products) != 12 || len(s.Farms) != 6 || s.Trace.Pack == "" {
		t.Errorf("got day %q, %d products, %d farms, trace %+v", s.Day, len(s.Products), len(s.Farms), s.Trace)
	}
	if !strings.Contains(stderr.String(), "Match for Thursday 26 November 2026") {
		t.Errorf("the tables are not on stderr:\n%s", stderr.String())
	}
}

// TestDemoServesAndTakesTheSameFilesAgain leaves the demonstration running, imports its files
// into it once more, looks at the page and ends it.
func TestDemoServesAndTakesTheSameFilesAgain(t *testing.T) {
	t.Parallel()
	file, data := settingsFile(t)
	cmd := process(t, "demo", "--config", file, "--coop", demoCoop)
	cmd.Stderr = t.Output()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	page := served(t, out)

	code, stdout, stderr := asked(t, "import", "--data", data, demoCoop)
	files, err := filepath.Glob(filepath.Join(demoCoop, "*.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if code != 0 || strings.Count(stdout, " 0 new     0 changed") != len(files) {
		t.Errorf("exit code %d\n%s%s\nwant %d files with nothing new and nothing changed", code, stdout, stderr, len(files))
	}
	answer, err := http.Get(page)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK || !bytes.Contains(body, []byte("Brown veiled cups")) {
		t.Errorf("%s: %s, %v, without the products", page, answer.Status, err)
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended by a signal: %v", err)
	}
}

// served reads what the demonstration prints until it serves, and returns the page it names.
func served(t *testing.T, out io.Reader) string {
	t.Helper()
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if at := strings.Index(lines.Text(), "http://"); at >= 0 {
			return lines.Text()[at:]
		}
	}
	t.Fatal("the demonstration ended without serving")
	return ""
}

func TestDemoRefusesBadFilesBeforeItStarts(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(demoCoop)); err != nil {
		t.Fatal(err)
	}
	rooms := filepath.Join(dir, "rooms.csv")
	content, err := os.ReadFile(rooms)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(rooms, bytes.Replace(content, []byte(",26,bulk_phase_two"), []byte(",-26,bulk_phase_two"), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, command := range [][]string{{"demo", "--once", "--coop", dir}, {"import", dir}} {
		code, stdout, stderr := asked(t, command...)
		if code != 2 || stdout != "" || !strings.Contains(stderr, `rooms.csv line 2, column area_m2: found "-26", expected a whole number from 1 to 100000`) {
			t.Errorf("%v: exit code %d, stdout %q, stderr %q", command, code, stdout, stderr)
		}
	}
}

func TestDemoRefusesADayThatIsNone(t *testing.T) {
	t.Parallel()
	code, _, stderr := asked(t, "demo", "--once", "--coop", demoCoop, "--day", "2026-02-30")
	if code != 1 || !strings.Contains(stderr, "2026-02-30") {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}

func TestDemoRefusesAnAddressThatIsTaken(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	code, _, stderr := asked(t, "demo", "--once", "--coop", demoCoop, "--listen", l.Addr().String(), "--data", filepath.Join(t.TempDir(), "data"))
	if code != 1 || !strings.Contains(stderr, "--listen") {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}

// TestRunning tells a suite that answers from one that has ended.
func TestRunning(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	text := fmt.Sprintf(`{"gateway": "http://%s"}`, l.Addr())
	if err := os.WriteFile(filepath.Join(data, "addresses.json"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if url, runs := running(data); !runs || !strings.HasSuffix(url, l.Addr().String()) {
		t.Errorf("it answers, and running says %q, %v", url, runs)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	// The port just given back may be another test's by now; nothing listens on port 1.
	if err := os.WriteFile(filepath.Join(data, "addresses.json"), []byte(`{"gateway": "http://127.0.0.1:1"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, runs := running(data); runs {
		t.Error("it has ended, and running says that it runs")
	}
	if _, runs := running(t.TempDir()); runs {
		t.Error("nothing ever ran there")
	}
}

func TestImportNeedsASuite(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	code, _, stderr := asked(t, "import", "--data", data, demoCoop)
	if code != 1 || !strings.Contains(stderr, "no suite has run in the data folder "+data) {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("the data folder was made: %v", err)
	}
}
