// Package npmfile owns fetching single files out of an npm package that is pinned by version
// and checksum, so that what they are used for comes out the same on every machine. The
// registry is the one of npm_config_registry, as npm has it, or else the public one.
package npmfile

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"
)

// Package is a package as the registry knows it.
type Package struct {
	Name, Version string
	// Integrity is the checksum of the archive as the registry publishes it: "sha512-" and
	// base64.
	Integrity string
}

// stampName is the file that names what a folder holds. It is written last, so that a folder
// cut short or of another version is filled anew.
const stampName = "versions"

// Fetch puts the files, named as in the package, into a folder, unless they are there. Other
// files of the folder are removed when it is filled.
func Fetch(p Package, files []string, dir string) error {
	stamp := p.Name + " " + p.Version + "\n" + strings.Join(files, "\n") + "\n"
	if have, err := os.ReadFile(filepath.Join(dir, stampName)); err == nil && string(have) == stamp {
		return nil
	}
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	archive, err := p.download()
	if err != nil {
		return fmt.Errorf("package %s: %w", p.Name, err)
	}
	if err := extract(archive, files, dir); err != nil {
		return fmt.Errorf("package %s: %w", p.Name, err)
	}
	return os.WriteFile(filepath.Join(dir, stampName), []byte(stamp), 0o644)
}

func (p Package) download() ([]byte, error) {
	registry := os.Getenv("npm_config_registry")
	if registry == "" {
		registry = "https://registry.npmjs.org"
	}
	url := fmt.Sprintf("%s/%s/-/%s-%s.tgz", strings.TrimRight(registry, "/"), p.Name, path.Base(p.Name), p.Version)
	client := http.Client{Timeout: 5 * time.Minute}
	res, err := client.Get(url)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("%s answered %s", url, res.Status)
	}
	archive, err := io.ReadAll(res.Body)
	if err != nil {
		return nil, err
	}
	sum := sha512.Sum512(archive)
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum[:]); got != p.Integrity {
		return nil, fmt.Errorf("%s has checksum %s instead of %s: the download was damaged or altered", url, got, p.Integrity)
	}
	return archive, nil
}

// extract writes the wanted files; whatever else the archive holds is passed over.
func extract(archive []byte, files []string, dir string) error {
	unzipped, err := gzip.NewReader(bytes.NewReader(archive))
	if err != nil {
		return err
	}
	wanted := make(map[string]bool)
	for _, name := range files {
		wanted["package/"+name] = true
	}
	for archived := tar.NewReader(unzipped); len(wanted) > 0; {
		header, err := archived.Next()
		if errors.Is(err, io.EOF) {
			return fmt.Errorf("files are missing from the archive: %v", wanted)
		}
		if err != nil {
			return err
		}
		if !wanted[header.Name] {
			continue
		}
		delete(wanted, header.Name)
		content, err := io.ReadAll(archived)
		if err != nil {
			return err
		}
		file := filepath.Join(dir, filepath.FromSlash(strings.TrimPrefix(header.Name, "package/")))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(file, content, 0o644); err != nil {
			return err
		}
	}
	return nil
}
