package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"strings"
	"testing"
)

// TestMakesTheKeptInstances compares what the generators make with the
// checksums beside the optima; the large day is compared by scripts/bench.
func TestMakesTheKeptInstances(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../testdata/flow/optima.json")
	if err != nil {
		t.Fatal(err)
	}
	var kept []struct {
		Name   string
		SHA256 string `json:"dimacs_sha256"`
	}
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	for _, k := range kept {
		family, size, _ := strings.Cut(k.Name, "-")
		size = strings.TrimPrefix(strings.TrimPrefix(size, "day-"), "8-")
		if size == "large" {
			continue
		}
		t.Run(k.Name, func(t *testing.T) {
			t.Parallel()
			n, _, err := generate(family, size)
			if err != nil {
				t.Fatal(err)
			}
			sum := sha256.New()
			if err := n.writeDIMACS(sum); err != nil {
				t.Fatal(err)
			}
			if got := hex.EncodeToString(sum.Sum(nil)); got != k.SHA256 {
				t.Errorf("SHA-256 %s, want %s", got, k.SHA256)
			}
		})
	}
}

func TestRefusesUnknownInstances(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{}, {"coop", "tiny"}, {"coop", "huge", "x"}, {"dense", "many", "x"},
		{"dense", "0", "x"}, {"sparse", "3", "x"}, {"sparse", "99", "x"}, {"grid", "3", "x"},
	} {
		if err := run(args); err == nil {
			t.Errorf("%q was accepted", args)
		}
	}
}
