package importer

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

const demoCoop = "../../../testdata/coop"

// afternoon is the afternoon before the demonstration day.
var afternoon = time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)

// copyCoop is the demonstration co-op in a folder that the test may change.
func copyCoop(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	copyInto(t, dir, demoCoop)
	return dir
}

func copyInto(t *testing.T, to, from string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// edit replaces a text of a file, which must be there.
func edit(t *testing.T, dir, file, old, new string) {
	t.Helper()
	name := filepath.Join(dir, file)
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(content), old) {
		t.Fatalf("%s has no %q", file, old)
	}
	if err := os.WriteFile(name, []byte(strings.Replace(string(content), old, new, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
}

// appendTo adds a row to a file.
func appendTo(t *testing.T, dir, file, row string) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, file), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(row + "\n"); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, dir string) *coopfiles.Folder {
	t.Helper()
	files, err := coopfiles.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// rig imports folders as the co-op's coordinator.
type rig struct {
	t  *testing.T
	im Importer
}

func newRig(t *testing.T, dial func(string) (*grpc.ClientConn, error)) *rig {
	t.Helper()
	clients, err := Connect(dial)
	if err != nil {
		t.Fatal(err)
	}
	return &rig{t, Importer{Clients: clients, Patience: 20 * time.Second}}
}

func (r *rig) context(files *coopfiles.Folder) context.Context {
	return testkit.Context(r.t, identity.Identity{CoopID: files.Coop.CoopID, Role: identity.Coordinator, Name: "Test"})
}

// run imports a folder and returns what became of each file that was not left as it was.
func (r *rig) run(dir string) (map[string]Outcome, error) {
	r.t.Helper()
	files := read(r.t, dir)
	outcomes, err := r.im.Import(r.context(files), files)
	moved := make(map[string]Outcome)
	for _, o := range outcomes {
		if o.New > 0 || o.Changed > 0 {
			moved[o.File] = o
		}
	}
	return moved, err
}

// problems are the problems that an import was refused for.
func problems(t *testing.T, err error) []coopfiles.Problem {
	t.Helper()
	var p *coopfiles.Problems
	if !errors.As(err, &p) {
		t.Fatalf("got error %v, want problems of the files", err)
	}
	return p.List
}
