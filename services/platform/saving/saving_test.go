package saving_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

var last = saving.Change{Version: 3, By: "Una", At: time.Date(2026, time.November, 25, 14, 0, 0, 0, time.FixedZone("", 3600))}

func TestDecide(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		save   saving.Save
		write  bool
		kind   fault.Kind
		reason string
	}{
		"new":                          {saving.Save{}, true, 0, ""},
		"of nothing that is there":     {saving.Save{Etag: "v3"}, false, fault.NotFound, "NOTHING_TO_CHANGE"},
		"there and equal":              {saving.Save{Found: true, Equal: true, Last: last}, false, 0, ""},
		"there and otherwise":          {saving.Save{Found: true, Last: last}, false, fault.Stale, "ETAG_NEEDED"},
		"as read":                      {saving.Save{Found: true, Etag: "v3", Last: last}, true, 0, ""},
		"as read and equal":            {saving.Save{Found: true, Etag: "v3", Equal: true, Last: last}, false, 0, ""},
		"changed since":                {saving.Save{Found: true, Etag: "v2", Last: last}, false, fault.Stale, "STALE_ETAG"},
		"changed since to be the same": {saving.Save{Found: true, Etag: "v2", Equal: true, Last: last}, false, fault.Stale, "STALE_ETAG"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test.save.Thing, test.save.Path = `farm "alder"`, "farms[3]"
			write, err := test.save.Decide()
			if write != test.write || (err == nil) != (test.reason == "") {
				t.Fatalf("got %v, %v", write, err)
			}
			var f *fault.Error
			if err == nil {
				return
			}
			if !errors.As(err, &f) || f.Kind != test.kind || f.Reason != test.reason || len(f.Fields) != 1 || f.Fields[0].Path != "farms[3].etag" || !strings.Contains(f.Message, `farm "alder"`) {
				t.Errorf("got %+v", f)
			}
			if f.Kind == fault.Stale && (f.Meta["changedBy"] != "Una" || f.Meta["changedAt"] != "2026-11-25T13:00:00Z" || f.Meta["etag"] != "v3" || !strings.Contains(f.Message, "by Una at 2026-11-25T13:00:00Z")) {
				t.Errorf("does not tell who changed it when: %+v", f)
			}
		})
	}
}

// What comes with the suite was made by nobody at no time.
func TestStaleWithoutATime(t *testing.T) {
	t.Parallel()
	f := saving.StaleEtag("programme", "etag", saving.Change{Version: 1, By: "the suite"})
	if _, told := f.Meta["changedAt"]; told || f.Message != "programme was changed meanwhile, by the suite: read it again and decide anew" {
		t.Errorf("got %+v", f)
	}
	if f := saving.Raced("programme"); f.Kind != fault.Stale || f.Reason != "SAVED_AT_ONCE" {
		t.Errorf("got %+v", f)
	}
}
