package localpg

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// initdb makes the cluster where there is none and returns the
// administrator's password. It works in a folder beside the final one, so that
// an interrupted run leaves no half cluster.
func (a account) initdb(ctx context.Context, bin Binaries, p paths, unsafe bool) (string, error) {
	if p.dataVersion() != "" {
		return readPassword(p)
	}
	if _, err := os.Stat(p.data); err == nil {
		return "", fmt.Errorf("%s is there but holds no PostgreSQL data: move it away", p.data)
	}
	if err := os.RemoveAll(p.fresh); err != nil {
		return "", fmt.Errorf("remove what an interrupted run left: %w", err)
	}
	password := rand.Text()
	if err := os.WriteFile(p.password, []byte(password+"\n"), 0o600); err != nil {
		return "", fmt.Errorf("save the administrator's password: %w", err)
	}
	if err := a.own(p.password); err != nil {
		return "", err
	}
	// Locale C orders text by bytes: the same on every machine and release of
	// the system's library, so indexes never go stale with an upgrade.
	args := []string{
		"--pgdata=" + p.fresh, "--username=" + Superuser, "--pwfile=" + p.password,
		"--auth=scram-sha-256", "--encoding=UTF8", "--locale=C", "--data-checksums",
	}
	if unsafe {
		args = append(args, "--no-sync")
	}
	out, err := a.command(ctx, p.root, bin.Initdb, args...).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("initdb in %s: %w:\n%s", p.root, err, strings.TrimSpace(string(out)))
	}
	if err := os.Rename(p.fresh, p.data); err != nil {
		return "", fmt.Errorf("put the new cluster in place: %w", err)
	}
	return password, nil
}

func readPassword(p paths) (string, error) {
	text, err := os.ReadFile(p.password)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("the administrator's password %s is gone though the data is there: restore the file from a backup", p.password)
	}
	if err != nil {
		return "", fmt.Errorf("read the administrator's password: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}
