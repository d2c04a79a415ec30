// Command protoimports fills a folder with the protos that ours import but do not own:
// google/api and google/type from an npm package, buf/validate from a Go module. Both are
// pinned by version and checksum, so that generated code is the same on every machine.
//
//	protoimports DIR
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"breakshare.example/scripts/npmfile"
)

// protos is the package that carries google/api and google/type.
var protos = npmfile.Package{
	Name: "google-proto-files", Version: "6.0.1",
	Integrity: "sha512-fbvUWVNh3rKGlVFWwlUNF7Sk1Tah0a89q02rLTXsWjbKKHGeuURAa8tl9rvu5TyWny1YiSIo5eDqF260Tai6vQ==",
}

const (
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
	if have, err := os.ReadFile(filepath.Join(dir, stampName)); err == nil && string(have) == goVersion {
		return npmfile.Fetch(protos, npmFiles, dir)
	}
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	if err := npmfile.Fetch(protos, npmFiles, dir); err != nil {
		return err
	}
	if err := fromGoModule(dir); err != nil {
		return fmt.Errorf("module %s: %w", goModule, err)
	}
	return os.WriteFile(filepath.Join(dir, stampName), []byte(goVersion), 0o644)
}

// stampName is written last, so that a folder cut short or of another version is filled anew.
const stampName = "module-version"

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
