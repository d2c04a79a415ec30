// Package houserules owns the rules of layout that a machine can check: which package may
// import which, what stands at the top level, and what every package must have. Its tests
// hold the tree to them.
package houserules

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strings"
)

// Module is the path of this module.
const Module = "breakshare.example"

// Package is what the go command tells of one package.
type Package struct {
	ImportPath string
	Dir        string
	Name       string
	Doc        string
	GoFiles    []string
	Imports    []string
}

// Path is the package's folder within the module, with slashes.
func (p Package) Path() string { return strings.TrimPrefix(p.ImportPath, Module+"/") }

// Packages lists the packages of the module below root, tests left out.
func Packages(root string) ([]Package, error) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Dir,Name,Doc,GoFiles,Imports", "./...")
	cmd.Dir = root
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w: %s", err, stderr.String())
	}
	var all []Package
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p Package
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
}

// Layer is how far from the rules a package stands. Imports run from a higher layer to a
// lower one, or stay within one.
type Layer int

// The layers, from the innermost outwards.
const (
	Rules Layer = iota
	Contract
	Platform
	Store
	Shared // between server and subscriber
	Server // and subscriber
	Service
	Gateway
	Deploy
	Tools
)

// shared are the packages that a service's server and its subscriber both stand on: they use
// the store, and speak the protos of those whose read model they keep.
var shared = map[string]bool{
	"services/compostlot/internal/lotpage": true, // words and draws a report for people
	"services/compostlot/internal/members": true,
	"services/harvest/internal/lots":       true,
	"services/harvest/internal/told":       true,
}

// LayerOf places a package by its folder. ok is false where the folder has no place.
func LayerOf(path string) (layer Layer, ok bool) {
	parts := strings.Split(path, "/")
	switch parts[0] {
	case "proto":
		return Contract, true
	case "scripts", "testdata":
		return Tools, true
	case "deploy":
		return Deploy, true
	case "gateway":
		return Gateway, true
	case "services":
		if shared[path] {
			return Shared, true
		}
		return layerOfService(parts[1:])
	}
	return 0, false
}

func layerOfService(parts []string) (Layer, bool) {
	switch {
	case len(parts) == 0:
		return 0, false
	case parts[0] == "platform":
		return Platform, true
	case len(parts) == 1:
		return Service, true
	case parts[1] != "internal" || len(parts) < 3:
		return 0, false
	}
	switch parts[2] {
	case "store":
		return Store, true
	case "server", "subscriber":
		return Server, true
	default:
		return Rules, true
	}
}

// ServiceOf is the service that a package belongs to; empty for none.
func ServiceOf(path string) string {
	parts := strings.Split(path, "/")
	if len(parts) < 2 || parts[0] != "services" || parts[1] == "platform" {
		return ""
	}
	return parts[1]
}
