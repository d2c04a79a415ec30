package localpg

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// paths are the places inside a cluster's folder.
type paths struct {
	root     string
	data     string // PGDATA
	fresh    string // where initdb works, renamed to data when it is whole
	run      string // unix socket
	log      string // what the server says
	password string // the administrator's, readable by the owner only
	bundle   string // fetched binaries, a folder for each version
	lock     string // held by the process that runs the cluster
}

func pathsIn(root string) paths {
	in := func(name string) string { return filepath.Join(root, name) }
	return paths{
		root: root, data: in("data"), fresh: in("data.new"), run: in("run"),
		log: in("postgres.log"), password: in("admin-password"), bundle: in("bundle"), lock: in("lock"),
	}
}

// dataVersion is the major version that made the data, "" where there is none.
func (p paths) dataVersion() string {
	text, err := os.ReadFile(filepath.Join(p.data, "PG_VERSION"))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}

// lockFolder makes sure that one process at a time runs a cluster. The kernel
// frees the lock when the process ends, however it ends.
func lockFolder(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the lock of the data folder: %w", err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		return f, nil
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, fmt.Errorf("another process runs the cluster in %s: stop it, or use another data folder", filepath.Dir(path))
	}
	return nil, fmt.Errorf("lock the data folder: %w", err)
}

// longestSocket is the longest path of a unix socket: sun_path holds 108 bytes
// with its closing zero on Linux, 104 on the BSDs and macOS.
const longestSocket = 103

// socketFolder makes the folder of the unix socket: inside the data folder, or
// a short one among the temporary files where the path would be too long.
func (a account) socketFolder(p paths) (string, error) {
	name := filepath.Join(p.run, ".s.PGSQL.65535.lock")
	if len(name) <= longestSocket {
		return p.run, a.makeFolder(p.run)
	}
	dir, err := os.MkdirTemp("", "breakshare-pg-")
	if err != nil {
		return "", fmt.Errorf("make a folder for PostgreSQL's socket: %w", err)
	}
	return dir, a.own(dir)
}
