package web

import (
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/reflect/protoreflect"

	"breakshare.example/gateway/internal/words"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/identity"
)

// keyUsed finds the keys that templates and code ask for by name.
var keyUsed = regexp.MustCompile(`(?:\b[tn] |\.[TN]\(|Key: |title: *|"trace\.found", )"([a-z0-9_]+\.[a-z0-9_ .]+)"`)

func TestEveryTextThatIsAskedForIsThere(t *testing.T) {
	t.Parallel()
	languages, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	english := languages.All()[0]
	found := 0
	check := func(name string, content []byte) {
		for _, m := range keyUsed.FindAllSubmatch(content, -1) {
			found++
			if key := string(m[1]); !english.Has(key) {
				t.Errorf("%s asks for %q, which no catalogue has", name, key)
			}
		}
	}
	templates, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range templates {
		content, err := templateFiles.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		check(name, content)
	}
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".go") && !strings.HasSuffix(e.Name(), "_test.go") {
			content, err := os.ReadFile(e.Name())
			if err != nil {
				t.Fatal(err)
			}
			check(e.Name(), content)
		}
	}
	if found < 200 {
		t.Errorf("only %d keys were found", found)
	}
}

// TestEveryValueOfTheContractHasAWord: a value that is added to the protos must not stand on
// a page as its key.
func TestEveryValueOfTheContractHasAWord(t *testing.T) {
	t.Parallel()
	languages, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	english := languages.All()[0]
	for prefix, enum := range map[string]protoreflect.EnumDescriptor{
		"stage":      schedulingv1.StageKind_STAGE_KIND_UNSPECIFIED.Descriptor(),
		"phase":      typev1.CompostPhase_COMPOST_PHASE_UNSPECIFIED.Descriptor(),
		"lot_state":  compostlotv1.LotState_LOT_STATE_UNSPECIFIED.Descriptor(),
		"finding":    compostlotv1.Finding_FINDING_UNSPECIFIED.Descriptor(),
		"mark":       compostlotv1.PhaseMark_PHASE_MARK_UNSPECIFIED.Descriptor(),
		"pick_stage": typev1.PickStage_PICK_STAGE_UNSPECIFIED.Descriptor(),
		"reading":    compostlotv1.ReadingKind_READING_KIND_UNSPECIFIED.Descriptor(),
		"turn":       compostlotv1.TurnKind_TURN_KIND_UNSPECIFIED.Descriptor(),
		"decision":   compostlotv1.DecisionKind_DECISION_KIND_UNSPECIFIED.Descriptor(),
		"gas":        compostlotv1.GasAdvice_GAS_ADVICE_UNSPECIFIED.Descriptor(),
		"reason":     orderv1.ShortReason_SHORT_REASON_UNSPECIFIED.Descriptor(),
		"pin":        orderv1.PinKind_PIN_KIND_UNSPECIFIED.Descriptor(),
		"verdict":    harvestv1.IncidentVerdict_INCIDENT_VERDICT_UNSPECIFIED.Descriptor(),
		"store":      harvestv1.StoreCondition_STORE_CONDITION_UNSPECIFIED.Descriptor(),
		"advice":     harvestv1.EndVerdict_END_VERDICT_UNSPECIFIED.Descriptor(),
		"delivery":   orderv1.DeliveryState_DELIVERY_STATE_UNSPECIFIED.Descriptor(),
	} {
		values := enum.Values()
		first := string(values.Get(0).Name())
		common := strings.TrimSuffix(first, "UNSPECIFIED")
		for i := range values.Len() {
			key := prefix + "." + strings.ToLower(strings.TrimPrefix(string(values.Get(i).Name()), common))
			if !english.Has(key) {
				t.Errorf("%s has no word: add %q", values.Get(i).FullName(), key)
			}
		}
	}
	for _, role := range identity.Roles() {
		if !english.Has("role." + string(role)) {
			t.Errorf("the role %s has no word", role)
		}
	}
	for _, name := range serviceNames {
		if !english.Has("service." + name) {
			t.Errorf("the service %s has no word", name)
		}
	}
}

func TestRuns(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ codes, want []string }{
		{nil, nil},
		{[]string{"a-1"}, []string{"a-1"}},
		{[]string{"a-001", "a-002", "a-003", "a-005", "b-006"}, []string{"a-001–003", "a-005", "b-006"}},
		{[]string{"a-9", "a-10"}, []string{"a-9", "a-10"}},
		{[]string{"a", "b"}, []string{"a", "b"}},
		{[]string{"a-2", "a-1"}, []string{"a-2", "a-1"}},
		{[]string{"99999999999999999998", "99999999999999999999"}, []string{"99999999999999999998–999999999999999"}},
	} {
		if diff := cmp.Diff(c.want, runs(c.codes)); diff != "" {
			t.Errorf("%v: %s", c.codes, diff)
		}
	}
}

func TestMondayOf(t *testing.T) {
	t.Parallel()
	for day, want := range map[string]string{
		"2026-11-23": "2026-11-23", "2026-11-25": "2026-11-23", "2026-11-29": "2026-11-23", "2026-11-30": "2026-11-30", "2023-12-31": "2023-12-25", "2000-02-29": "2000-02-28",
	} {
		if got := mondayOf(day); got != want {
			t.Errorf("mondayOf(%s) = %s, want %s", day, got, want)
		}
	}
}

func TestShortLabelsAreCutByCharacters(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("ß", longestLabel+5)
	if got := short(long); len([]rune(got)) != longestLabel || !strings.HasSuffix(got, "…") {
		t.Errorf("short is %q", got)
	}
	if got := short("House 1"); got != "House 1" {
		t.Errorf("short is %q", got)
	}
}
