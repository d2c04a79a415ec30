package pg

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
)

// Fingerprint names what Prepare makes of a schema: equal fingerprints, equal
// schemas. It is 32 hexadecimal digits over the service's name, all migrations
// and the rights.
func Fingerprint(s Schema) (string, error) {
	if err := checkService(s.Service); err != nil {
		return "", err
	}
	h := sha256.New()
	fmt.Fprintf(h, "%q %q\n", s.Service, grants)
	if err := hashFiles(h, BaseMigrations()); err != nil {
		return "", err
	}
	if s.Migrations != nil {
		own, err := sqlFolder(s.Migrations)
		if err != nil {
			return "", err
		}
		if err := hashFiles(h, own); err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}

// hashFiles adds each migration's name and text, in the order of names.
func hashFiles(w io.Writer, files fs.FS) error {
	names, err := fs.Glob(files, "*.sql")
	if err != nil {
		return fmt.Errorf("list migrations: %w", err)
	}
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return fmt.Errorf("read migration: %w", err)
		}
		fmt.Fprintf(w, "%q %q\n", name, text)
	}
	return nil
}
