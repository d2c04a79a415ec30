package ids_test

import (
	"strings"
	"testing"

	"breakshare.example/services/platform/ids"
)

func TestNewIsVersion7AndSorts(t *testing.T) {
	t.Parallel()
	last := ""
	seen := map[string]bool{}
	for range 2000 {
		id := ids.New()
		if !ids.Valid(id) {
			t.Fatalf("New() = %q, which Valid refuses", id)
		}
		if id != strings.ToLower(id) {
			t.Errorf("New() = %q: want lower case", id)
		}
		// RFC 9562, section 4: version in the high half of octet 6, variant
		// 10x in octet 8.
		if id[14] != '7' || !strings.ContainsRune("89ab", rune(id[19])) {
			t.Errorf("New() = %q: want version 7 and the RFC variant", id)
		}
		if id <= last {
			t.Errorf("New() = %q after %q: later ids must sort later", id, last)
		}
		if seen[id] {
			t.Fatalf("New() gave %q twice", id)
		}
		seen[id], last = true, id
	}
}

func TestValid(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, id string
		want     bool
	}{
		// RFC 9562, appendix A: one example of each version.
		{"version 1", "C232AB00-9414-11EC-B3C8-9F6BDECED846", true},
		{"version 3", "5df41881-3aed-3515-88a7-2f4a814cf09e", true},
		{"version 4", "919108f7-52d1-4320-9bac-f847db4148a8", true},
		{"version 5", "2ed6657d-e927-568b-95e1-2665a8aea6a2", true},
		{"version 6", "1EC9414C-232A-6B00-B3C8-9F6BDECED846", true},
		{"version 7", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F", true},
		{"version 8", "2489E9AD-2EE2-8E00-8EC9-32D5F69181C0", true},
		{"nil", "00000000-0000-0000-0000-000000000000", true},
		{"empty", "", false},
		{"no hyphens", "017f22e279b07cc398c4dc0c0c07398f", false},
		{"braces", "{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}", false},
		{"urn", "urn:uuid:017f22e2-79b0-7cc3-98c4-dc0c0c07398f", false},
		{"not hexadecimal", "017f22e2-79b0-7cc3-98c4-dc0c0c07398g", false},
		{"hyphen misplaced", "017f22e-279b0-7cc3-98c4-dc0c0c07398fa", false},
		{"too long", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f0", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if got := ids.Valid(tc.id); got != tc.want {
				t.Errorf("Valid(%q) = %v, want %v", tc.id, got, tc.want)
			}
		})
	}
}

func FuzzValid(f *testing.F) {
	f.Add("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	f.Add("")
	f.Add("017f22e2-79b0-7cc3-98c4-dc0c0c07398\xff")
	f.Fuzz(func(t *testing.T, s string) {
		if !ids.Valid(s) {
			return
		}
		for i, r := range s {
			hyphen := i == 8 || i == 13 || i == 18 || i == 23
			if hyphen != (r == '-') || (!hyphen && !strings.ContainsRune("0123456789abcdefABCDEF", r)) {
				t.Fatalf("Valid accepts %q", s)
			}
		}
	})
}
