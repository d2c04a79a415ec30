package houserules

import (
	"bufio"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const root = "../.."

// maxLines is where a file has become more than one thing.
const maxLines = 500

func packages(t *testing.T) []Package {
	t.Helper()
	all, err := Packages(root)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 10 {
		t.Fatalf("go list found only %d packages", len(all))
	}
	return all
}

func TestImportsRunOneWay(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		layer, ok := LayerOf(p.Path())
		if !ok {
			t.Errorf("%s: no place for it in the layout", p.Path())
			continue
		}
		for _, imported := range p.Imports {
			if !strings.HasPrefix(imported, Module+"/") {
				continue
			}
			target := strings.TrimPrefix(imported, Module+"/")
			below, ok := LayerOf(target)
			switch {
			case !ok:
				t.Errorf("%s imports %s, which has no place in the layout", p.Path(), target)
			case below > layer:
				t.Errorf("%s imports %s, which stands above it", p.Path(), target)
			case layer == Platform && below == Rules:
				t.Errorf("%s imports %s: the platform knows no business", p.Path(), target)
			case ServiceOf(p.Path()) != "" && ServiceOf(target) != "" && ServiceOf(p.Path()) != ServiceOf(target):
				t.Errorf("%s imports %s: services share only protos and the platform", p.Path(), target)
			}
		}
	}
}

// notPure are what a package of rules must not know: databases, buses, protobuf, the network.
var notPure = []string{
	"github.com/jackc/", "github.com/nats-io/", "google.golang.org/", "github.com/grpc-ecosystem/", "github.com/pressly/",
	"go.opentelemetry.io/", "net/http", "database/sql", "log/slog", "math/rand",
}

func TestRulesArePure(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		if layer, _ := LayerOf(p.Path()); layer != Rules {
			continue
		}
		for _, imported := range p.Imports {
			for _, banned := range notPure {
				if imported == strings.TrimSuffix(banned, "/") || strings.HasPrefix(imported, banned) && strings.HasSuffix(banned, "/") {
					t.Errorf("%s imports %s: rules are pure", p.Path(), imported)
				}
			}
		}
	}
}

func TestEveryPackageSaysWhatItOwns(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		if strings.HasPrefix(p.Path(), "proto/gen/") {
			continue
		}
		if p.Doc == "" && len(p.GoFiles) > 0 {
			t.Errorf("%s has no package comment", p.Path())
		}
		if slices.Contains([]string{"domain", "common", "util", "utils", "helpers"}, p.Name) {
			t.Errorf("%s: %q tells nothing of what is inside", p.Path(), p.Name)
		}
	}
}

func TestFilesAreOneThing(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		if strings.HasPrefix(p.Path(), "proto/gen/") {
			continue
		}
		for _, name := range p.GoFiles {
			if n := lines(t, filepath.Join(p.Dir, name)); n > maxLines {
				t.Errorf("%s/%s has %d lines, more than %d: it is more than one thing", p.Path(), name, n, maxLines)
			}
		}
	}
}

func lines(t *testing.T, file string) int {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for s := bufio.NewScanner(f); s.Scan(); {
		n++
	}
	return n
}

func TestTopLevelIsAsAgreed(t *testing.T) {
	t.Parallel()
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			got = append(got, e.Name())
		}
	}
	want := []string{"DEVELOPERS.md", "LICENSE", "README.md", "buf.yaml", "deploy", "gateway", "go.mod", "go.sum", "proto", "scripts", "services", "testdata"}
	if !slices.Equal(got, want) {
		t.Errorf("top level is\n%v, want\n%v", got, want)
	}
}

func TestLayers(t *testing.T) {
	t.Parallel()
	for path, want := range map[string]Layer{
		"services/order/internal/match/flow": Rules,
		"services/order/internal/store":      Store,
		"services/order/internal/server":     Server,
		"services/order/internal/subscriber": Server,
		"services/order":                     Service,
		"services/platform/pg":               Platform,
		"proto/gen/breakshare/order/v1":      Contract,
		"gateway/internal/web":               Gateway,
		"deploy/onemachine":                  Deploy,
		"scripts/houserules":                 Tools,
	} {
		if got, ok := LayerOf(path); !ok || got != want {
			t.Errorf("LayerOf(%s) = %d, %v, want %d", path, got, ok, want)
		}
	}
	if _, ok := LayerOf("pkg/order"); ok {
		t.Error("LayerOf places a folder that the layout does not know")
	}
}
