package onemachine

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
)

// Files of the data folder that other commands on this machine read.
const (
	keyName       = "identity.key"
	addressesName = "addresses.json"
	localName     = "local-identity.json"
)

// Tokens returns what mints and verifies identities under the settings' key, which is made
// at the first start.
func Tokens(s settings.Settings, clk clock.Clock) (*identity.Tokens, error) {
	file := s.KeyFile
	if file == "" {
		file = filepath.Join(s.Data, keyName)
		if err := makeKey(file); err != nil {
			return nil, fmt.Errorf("identity key: %w", err)
		}
	}
	key, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("identity key: %w", err)
	}
	if err := identity.CheckKey(key); err != nil {
		return nil, fmt.Errorf("identity key %s: %w", file, err)
	}
	return identity.NewTokens(key, clk), nil
}

// makeKey writes a new key unless there is one. The key appears whole or not at all, also
// when two processes start at once.
func makeKey(file string) error {
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return err
	}
	key := make([]byte, 32)
	rand.Read(key)
	temporary, err := os.CreateTemp(filepath.Dir(file), keyName+"-")
	if err != nil {
		return err
	}
	defer os.Remove(temporary.Name())
	_, err = temporary.Write(key)
	if err := errors.Join(err, temporary.Sync(), temporary.Close()); err != nil {
		return err
	}
	if err := os.Link(temporary.Name(), file); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil
}

// Addresses is where a running suite can be reached from this machine.
type Addresses struct {
	Gateway  string            `json:"gateway"`
	Services map[string]string `json:"services"`
}

func (s *Stack) writeAddresses() error {
	return writeJSON(filepath.Join(s.o.Settings.Data, addressesName), Addresses{Gateway: s.gateway.url, Services: s.ports})
}

// ReadAddresses returns where the suite of a data folder runs.
func ReadAddresses(data string) (Addresses, error) {
	var a Addresses
	content, err := os.ReadFile(filepath.Join(data, addressesName))
	if errors.Is(err, fs.ErrNotExist) {
		return a, fmt.Errorf("no suite has run in the data folder %s: start one with `breakshare all`, or name its folder with --data", data)
	}
	if err != nil {
		return a, err
	}
	return a, json.Unmarshal(content, &a)
}

// SetLocal remembers as whom the gateway's pages act on this machine until there is sign-in.
func SetLocal(data string, who identity.Identity) error {
	return writeJSON(filepath.Join(data, localName), who)
}

// Local returns a function that tells who SetLocal named last; false before the first time.
func Local(data string) func() (identity.Identity, bool) {
	return func() (identity.Identity, bool) {
		content, err := os.ReadFile(filepath.Join(data, localName))
		if err != nil {
			return identity.Identity{}, false
		}
		var who identity.Identity
		if err := json.Unmarshal(content, &who); err != nil {
			return identity.Identity{}, false
		}
		return who, true
	}
}

// writeJSON replaces a file in one step.
func writeJSON(file string, content any) error {
	text, err := json.MarshalIndent(content, "", "  ")
	if err != nil {
		return err
	}
	temporary := fmt.Sprintf("%s-%d-%d", file, os.Getpid(), time.Now().UnixNano())
	if err := os.WriteFile(temporary, append(text, '\n'), 0o600); err != nil {
		return err
	}
	return os.Rename(temporary, file)
}
