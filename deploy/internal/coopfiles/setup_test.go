package coopfiles

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// demoCoop is the demonstration co-op.
const demoCoop = "../../../testdata/coop"

// folder writes files beside the coop.csv that every folder needs.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	if _, given := files["coop.csv"]; !given {
		put(t, dir, "coop.csv", "coop_id,name,time_zone,currency_code\n0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a57,Test,Europe/Dublin,EUR\n")
	}
	for name, content := range files {
		put(t, dir, name, content)
	}
	return dir
}

func put(t *testing.T, dir, name, content string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

// refusals are the problems for which a folder was refused, one a line.
func refusals(t *testing.T, err error) []string {
	t.Helper()
	var problems *Problems
	if !errors.As(err, &problems) {
		t.Fatalf("got error %v, want *Problems", err)
	}
	return strings.Split(problems.Error(), "\n")
}
