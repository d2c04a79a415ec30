package npmfile

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha512"
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// registry serves one archive and counts how often it is asked.
func registry(t *testing.T, files map[string]string) (p Package, asked *int) {
	t.Helper()
	var archive bytes.Buffer
	zipped := gzip.NewWriter(&archive)
	tarred := tar.NewWriter(zipped)
	for name, content := range files {
		if err := tarred.WriteHeader(&tar.Header{Name: name, Mode: 0o644, Size: int64(len(content))}); err != nil {
			t.Fatal(err)
		}
		if _, err := tarred.Write([]byte(content)); err != nil {
			t.Fatal(err)
		}
	}
	tarred.Close()
	zipped.Close()
	asked = new(int)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		*asked++
		if r.URL.Path != "/@scope/thing/-/thing-1.2.3.tgz" {
			http.NotFound(w, r)
			return
		}
		w.Write(archive.Bytes())
	}))
	t.Cleanup(server.Close)
	t.Setenv("npm_config_registry", server.URL+"/")
	sum := sha512.Sum512(archive.Bytes())
	return Package{Name: "@scope/thing", Version: "1.2.3", Integrity: "sha512-" + base64.StdEncoding.EncodeToString(sum[:])}, asked
}

func TestFetchTakesWhatIsWantedOnce(t *testing.T) {
	p, asked := registry(t, map[string]string{"package/a/wanted.js": "one", "package/other.js": "two"})
	dir := filepath.Join(t.TempDir(), "cache")
	for range 2 {
		if err := Fetch(p, []string{"a/wanted.js"}, dir); err != nil {
			t.Fatal(err)
		}
	}
	if *asked != 1 {
		t.Errorf("the registry was asked %d times, want once", *asked)
	}
	if got, err := os.ReadFile(filepath.Join(dir, "a/wanted.js")); err != nil || string(got) != "one" {
		t.Errorf("a/wanted.js holds %q, %v", got, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "other.js")); err == nil {
		t.Error("a file nobody wanted was written")
	}
}

func TestFetchRefuses(t *testing.T) {
	p, _ := registry(t, map[string]string{"package/a.js": "one"})
	altered, unknown := p, p
	altered.Integrity = "sha512-" + base64.StdEncoding.EncodeToString(make([]byte, 64))
	unknown.Version = "9.9.9"
	for name, c := range map[string]struct {
		p    Package
		file string
		want string
	}{
		"altered archive": {altered, "a.js", "damaged or altered"},
		"unknown version": {unknown, "a.js", "404"},
		"missing file":    {p, "b.js", "missing from the archive"},
	} {
		dir := filepath.Join(t.TempDir(), "cache")
		err := Fetch(c.p, []string{c.file}, dir)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q", name, err, c.want)
		}
		if _, err := os.Stat(filepath.Join(dir, stampName)); err == nil {
			t.Errorf("%s: the folder is stamped complete", name)
		}
	}
}
