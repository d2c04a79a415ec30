package localpg

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
)

// originalParent is the folder to remove in the end, "" while nothing was made.
var originalParent string

// original is one cluster that was made and stopped: initdb takes a second of a processor, a
// copy of its files next to nothing.
var original = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "breakshare-localpg-")
	if err != nil {
		return "", err
	}
	originalParent = dir
	if err := os.Chmod(dir, 0o755); err != nil {
		return "", err
	}
	folder := filepath.Join(dir, "pg")
	ctx := context.Background()
	cluster, err := Start(ctx, testOptions(folder))
	if err != nil {
		return "", err
	}
	return folder, cluster.Stop(ctx)
})

// CopyOriginal makes folder a stopped cluster's. Its parent must be enterable.
func CopyOriginal(t *testing.T, folder string) {
	t.Helper()
	from, err := original()
	if err == nil {
		err = os.MkdirAll(filepath.Dir(folder), 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cp", "-a", "--reflink=auto", from, folder).CombinedOutput(); err != nil {
		t.Fatal(fmt.Errorf("copy the cluster: %w: %s", err, out))
	}
}

// RemoveOriginal removes what the copies were taken from, if any were.
func RemoveOriginal() error {
	if originalParent == "" {
		return nil
	}
	return os.RemoveAll(originalParent)
}
