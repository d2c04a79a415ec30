package web_test

import (
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

func TestShareOverTheSeason(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	before := r.coop.AllCalls()
	p := r.get("/share").ok()
	if calls := r.coop.AllCalls() - before; calls > 12 {
		t.Errorf("%d calls", calls)
	}
	p.says("h1", "Alder Brook Farm").says(".lead", "Since Tue 1 Sep you offered 2 000 packs and sold 1 700. 40 packs ahead").says("main", "1 660 packs").says("tbody tr", "2 000 1 700 1 660")
	behind := visit(t, fakecoop.Who(identity.Grower, "birch-hollow")).get("/share").ok()
	behind.says(".lead", "40 packs behind")
	visit(t, fakecoop.Who(identity.Grower, "no-such-farm")).get("/share").ok().says("main", "Nothing of yours")
}
