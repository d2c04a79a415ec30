// Command protoimports fills a folder with the protos that ours import but do not own:
// google/api and google/type from an npm package, buf/validate from a Go module. Both are
// pinned by version and checksum, so that generated code is the same on every machine.
//
//	protoimports DIR
package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const (
	npmPackage   = "google-proto-files"
	npmVersion   = "6.0.1"
	npmIntegrity = "sha512-fbvUWVNh3rKGlVFWwlUNF7Sk1Tah0a89q02rLTXsWjbKKHGeuURAa8tl9rvu5TyWny1YiSIo5eDqF260Tai6vQ=="

	goModule  = "github.com/bufbuild/protovalidate"
	goVersion = "v1.2.2"
	goFolder  = "proto/protovalidate"
)

// npmFiles are the files that we import, directly or through another.
var npmFiles = []string{
	"google/api/annotations.proto",
	"google/api/http.proto",
}

const validateFile = "buf/validate/validate.proto"

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: protoimports DIR")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "protoimports:", err)
		os.Exit(1)
	}
}

func run(dir string) error {
	if complete(dir) {
		return nil
	}
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	if err := fromNPM(dir); err != nil {
		return fmt.Errorf("package %s: %w", npmPackage, err)
	}
	if err := fromGoModule(dir); err != nil {
		return fmt.Errorf("module %s: %w", goModule, err)
	}
	return os.WriteFile(filepath.Join(dir, stampName), []byte(stamp), 0o644)
}

// The stamp is written last, so that a folder cut short or of other versions is filled anew.
const (
	stampName = "versions"
	stamp     = npmPackage + " " + npmVersion + "\n" + goModule + " " + goVersion + "\n"
)

func complete(dir string) bool {
	have, err := os.ReadFile(filepath.Join(dir, stampName))
	return err == nil && string(have) == stamp
}

func fromNPM(dir string) error {
	registry := os.Getenv("npm_config_registry")
	if registry == "" {
		registry = "https://registry.npmjs.org"
	}
	url := fmt.Sprintf("%s/%s/-/%s-%s.tgz", strings.TrimRight(registry, "/"), npmPackage, npmPackage, npmVersion)
	archive, err := download(url)
	if err != nil {
		return err
	}
	sum := sha512.Sum512(archive)
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum[:]); got != npmIntegrity {
		return fmt.Errorf("%s has checksum %s instead of %s: the download was damaged or altered", url, got, npmIntegrity)
	}
	return extract(archive, dir)
}

func download(url string) ([]byte, error) {
	client := http.Client{Timeout: 5 * time.Minute}
	res, err := client.Get(url)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("%s answered %s", url, res.Status)
	}
	return io.ReadAll(res.Body)
}

// extract writes the wanted files; whatever else the archive holds is passed over.
func extract(archive []byte, dir string) error {
	unzipped, err := gzip.NewReader(bytes.NewReader(archive))
	if err != nil {
		return err
	}
	wanted := make(map[string]bool)
	for _, name := range npmFiles {
		wanted["package/"+name] = true
	}
	for files := tar.NewReader(unzipped); len(wanted) > 0; {
		header, err := files.Next()
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
		content, err := io.ReadAll(files)
		if err != nil {
			return err
		}
		if err := write(dir, strings.TrimPrefix(header.Name, "package/"), content); err != nil {
			return err
		}
	}
	return nil
}

func fromGoModule(dir string) error {
	cmd := exec.Command("go", "mod", "download", "-json", goModule+"@"+goVersion)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("go mod download: %w: %s", err, out)
	}
	var module struct{ Dir string }
	if err := json.Unmarshal(out, &module); err != nil {
		return err
	}
	content, err := os.ReadFile(filepath.Join(module.Dir, goFolder, validateFile))
	if err != nil {
		return err
	}
	return write(dir, validateFile, content)
}

func write(dir, name string, content []byte) error {
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, content, 0o644)
}
