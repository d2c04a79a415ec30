package signin_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/gateway/internal/signin"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

var (
	office = identity.Identity{CoopID: "0190a1b2-0000-7000-8000-000000000001", Role: identity.Coordinator, Name: "Office"}
	grower = identity.Identity{CoopID: office.CoopID, Role: identity.Grower, FarmID: "alder-brook", Name: "Una"}
	other  = identity.Identity{CoopID: "0190a1b2-0000-7000-8000-000000000002", Role: identity.Coordinator}
)

type rig struct {
	clock  *clock.Manual
	tokens *identity.Tokens
	door   *signin.Door
}

func newRig(local bool) *rig {
	clk := clock.NewManual(time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC))
	tokens := identity.NewTokens([]byte("0123456789abcdef0123456789abcdef"), clk)
	var who func() (identity.Identity, bool)
	if local {
		who = func() (identity.Identity, bool) { return office, true }
	}
	return &rig{clk, tokens, signin.New(tokens, who)}
}

func (r *rig) token(t *testing.T, who identity.Identity) string {
	t.Helper()
	token, err := r.tokens.Mint(who, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// seen is who a request is let in as; false where it is refused.
func (r *rig) seen(req *http.Request) (identity.Identity, bool, *httptest.ResponseRecorder) {
	var who identity.Identity
	in := false
	res := httptest.NewRecorder()
	r.door.API(http.HandlerFunc(func(_ http.ResponseWriter, req *http.Request) { who, in = identity.From(req.Context()) })).ServeHTTP(res, req)
	return who, in, res
}

func request(host, authorization string, cookies ...*http.Cookie) *http.Request {
	req := httptest.NewRequest(http.MethodGet, "/v1/farms", nil)
	req.Host = host
	if authorization != "" {
		req.Header.Set("Authorization", authorization)
	}
	for _, c := range cookies {
		req.AddCookie(c)
	}
	return req
}

// chosen is the cookie of a person who was chosen.
func (r *rig) chosen(t *testing.T, who identity.Identity) *http.Cookie {
	t.Helper()
	res := httptest.NewRecorder()
	if err := r.door.Choose(res, request("127.0.0.1:8080", ""), who); err != nil {
		t.Fatal(err)
	}
	return res.Result().Cookies()[0]
}

func TestWho(t *testing.T) {
	t.Parallel()
	r := newRig(true)
	mine, theirs := r.chosen(t, grower), &http.Cookie{Name: "breakshare_person", Value: r.token(t, other)}
	for name, c := range map[string]struct {
		req  *http.Request
		want identity.Identity
	}{
		"nobody on this machine is the office": {request("127.0.0.1:8080", ""), office},
		"by name":                              {request("localhost:8080", ""), office},
		"IPv6":                                 {request("[::1]:8080", ""), office},
		"no port":                              {request("LOCALHOST", ""), office},
		"a chosen person":                      {request("127.0.0.1:8080", "", mine), grower},
		"a cookie of another co-op counts for nothing": {request("127.0.0.1:8080", "", theirs), office},
		"a forged cookie counts for nothing":           {request("127.0.0.1:8080", "", &http.Cookie{Name: "breakshare_person", Value: "x.y.z"}), office},
		"a token":                                      {request("suite.example", "Bearer "+r.token(t, other)), other},
		"a token goes before the cookie":               {request("127.0.0.1:8080", "bearer "+r.token(t, other), mine), other},
	} {
		who, in, res := r.seen(c.req)
		if !in {
			t.Errorf("%s: refused: %s", name, res.Body)
		} else if diff := cmp.Diff(c.want, who); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	r := newRig(true)
	old := r.token(t, grower)
	mine := r.chosen(t, grower)
	foreign := identity.NewTokens([]byte("another key, as long as it must be"), r.clock)
	forged, err := foreign.Mint(office, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	r.clock.Advance(2 * time.Hour)
	for name, c := range map[string]struct {
		req    *http.Request
		reason string
	}{
		"another site's name for this machine": {request("evil.example:8080", ""), "NOBODY"},
		"the cookie under another name":        {request("evil.example:8080", "", mine), "NOBODY"},
		"an address of the network":            {request("192.168.1.10:8080", ""), "NOBODY"},
		"another scheme":                       {request("127.0.0.1", "Basic dTpw"), "TOKEN_SCHEME"},
		"no token":                             {request("127.0.0.1", "Bearer"), "TOKEN_REFUSED"},
		"rubbish":                              {request("127.0.0.1", "Bearer rubbish"), "TOKEN_REFUSED"},
		"another key":                          {request("127.0.0.1", "Bearer "+forged), "TOKEN_REFUSED"},
		"run out":                              {request("127.0.0.1", "Bearer "+old), "TOKEN_REFUSED"},
	} {
		_, in, res := r.seen(c.req)
		if in || res.Code != http.StatusUnauthorized || !strings.Contains(res.Body.String(), c.reason) {
			t.Errorf("%s: let in %v, %d %s, want %s", name, in, res.Code, res.Body, c.reason)
		}
	}
	if _, in, _ := newRig(false).seen(request("127.0.0.1:8080", "")); in {
		t.Error("a gateway without an office let somebody in without a token")
	}
}

func TestPagesLetEverybodyThrough(t *testing.T) {
	t.Parallel()
	called, known := false, true
	page := newRig(false).door.Page(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		called = true
		_, known = identity.From(r.Context())
	}))
	page.ServeHTTP(httptest.NewRecorder(), request("127.0.0.1", ""))
	if !called || known {
		t.Errorf("called %v, known %v: want a page for nobody", called, known)
	}
}

func TestChoose(t *testing.T) {
	t.Parallel()
	r := newRig(true)
	cookie := r.chosen(t, identity.Identity{CoopID: other.CoopID, Role: identity.Grower, FarmID: "alder-brook"})
	if !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode || cookie.Path != "/" || cookie.MaxAge <= 0 {
		t.Errorf("the cookie is %+v: a script or another site could use it", cookie)
	}
	who, ok := r.door.Chosen(request("127.0.0.1", "", cookie))
	if !ok || who.CoopID != office.CoopID {
		t.Errorf("chosen %+v, %v: the co-op must be this machine's, not the visitor's word", who, ok)
	}
	r.clock.Advance(15 * time.Hour)
	if _, ok := r.door.Chosen(request("127.0.0.1", "", cookie)); ok {
		t.Error("a choice outlives the working day")
	}
	for name, c := range map[string]struct {
		req  *http.Request
		who  identity.Identity
		kind fault.Kind
	}{
		"elsewhere":           {request("suite.example", ""), grower, fault.Forbidden},
		"a grower of no farm": {request("127.0.0.1", ""), identity.Identity{Role: identity.Grower}, fault.Invalid},
		"no role":             {request("127.0.0.1", ""), identity.Identity{Role: "king"}, fault.Invalid},
	} {
		res := httptest.NewRecorder()
		if err := r.door.Choose(res, c.req, c.who); fault.KindOf(err) != c.kind || err == nil {
			t.Errorf("%s: %v, want %s", name, err, c.kind)
		}
		if len(res.Result().Cookies()) > 0 {
			t.Errorf("%s: a cookie was set", name)
		}
	}
}
