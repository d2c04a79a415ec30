package identity_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
)

var (
	key  = bytes.Repeat([]byte("k"), identity.MinKeyBytes)
	noon = time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC)
)

func grower() identity.Identity {
	return identity.Identity{CoopID: coop, Role: identity.Grower, FarmID: thing, Name: "Åsa of Low Barn"}
}

func TestMintThenVerify(t *testing.T) {
	t.Parallel()
	tokens := identity.NewTokens(key, clock.NewManual(noon))
	for _, want := range []identity.Identity{
		grower(),
		{CoopID: coop, Role: identity.YardManager, YardID: thing},
		{CoopID: coop, Role: identity.Buyer, CustomerID: thing, Name: "kitchen"},
		{CoopID: coop, Role: identity.Service},
	} {
		token, err := tokens.Mint(want, time.Minute)
		if err != nil {
			t.Fatalf("Mint(%v): %v", want, err)
		}
		got, err := tokens.Verify(token)
		if err != nil || got != want {
			t.Errorf("Verify(Mint(%v)) = %v, %v", want, got, err)
		}
	}
}

func TestMintRefuses(t *testing.T) {
	t.Parallel()
	tokens := identity.NewTokens(key, clock.NewManual(noon))
	var p *identity.Problem
	if _, err := tokens.Mint(identity.Identity{Role: identity.Grower}, time.Minute); !errors.As(err, &p) {
		t.Errorf("a token without a co-op was minted (err %v)", err)
	}
	if _, err := tokens.Mint(grower(), 0); err == nil {
		t.Error("a token that never lives was minted")
	}
}

func TestTokenExpires(t *testing.T) {
	t.Parallel()
	clk := clock.NewManual(noon)
	tokens := identity.NewTokens(key, clk)
	token, err := tokens.Mint(grower(), time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	clk.Advance(59 * time.Second)
	if _, err := tokens.Verify(token); err != nil {
		t.Errorf("after 59 s of 60: %v", err)
	}
	clk.Advance(3 * time.Second)
	if _, err := tokens.Verify(token); !errors.Is(err, identity.ErrToken) || !errors.Is(err, jwt.ErrTokenExpired) {
		t.Errorf("after 62 s of 60: %v, want it expired", err)
	}
}

// sign makes a token by hand, with whatever is wrong with it.
func sign(t *testing.T, method jwt.SigningMethod, signer any, change func(jwt.MapClaims)) string {
	t.Helper()
	c := jwt.MapClaims{
		"iss": "breakshare", "iat": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
		"coop": coop, "role": "grower", "farm": thing,
	}
	if change != nil {
		change(c)
	}
	token, err := jwt.NewWithClaims(method, c).SignedString(signer)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func TestVerifyRefuses(t *testing.T) {
	t.Parallel()
	tokens := identity.NewTokens(key, clock.NewManual(noon))
	hs := jwt.SigningMethodHS256
	if _, err := tokens.Verify(sign(t, hs, key, nil)); err != nil {
		t.Fatalf("the sound token is refused: %v", err)
	}
	parts := strings.Split(sign(t, hs, key, nil), ".")
	forged := base64.RawURLEncoding.EncodeToString([]byte(`{"iss":"breakshare","exp":9999999999,"coop":"` + coop + `","role":"operator"}`))
	for name, token := range map[string]string{
		"empty":             "",
		"not a token":       "a.b.c",
		"no algorithm":      sign(t, jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType, nil),
		"other algorithm":   sign(t, jwt.SigningMethodHS512, key, nil),
		"other key":         sign(t, hs, bytes.Repeat([]byte("x"), 32), nil),
		"body exchanged":    parts[0] + "." + forged + "." + parts[2],
		"signature cut off": parts[0] + "." + parts[1] + ".",
		"other issuer":      sign(t, hs, key, func(c jwt.MapClaims) { c["iss"] = "elsewhere" }),
		"no issuer":         sign(t, hs, key, func(c jwt.MapClaims) { delete(c, "iss") }),
		"no expiry":         sign(t, hs, key, func(c jwt.MapClaims) { delete(c, "exp") }),
		"expired":           sign(t, hs, key, func(c jwt.MapClaims) { c["exp"] = noon.Add(-time.Minute).Unix() }),
		"from the future":   sign(t, hs, key, func(c jwt.MapClaims) { c["iat"] = noon.Add(time.Minute).Unix() }),
		"no co-op":          sign(t, hs, key, func(c jwt.MapClaims) { delete(c, "coop") }),
		"co-op not a UUID":  sign(t, hs, key, func(c jwt.MapClaims) { c["coop"] = "1" }),
		"no role":           sign(t, hs, key, func(c jwt.MapClaims) { delete(c, "role") }),
		"unknown role":      sign(t, hs, key, func(c jwt.MapClaims) { c["role"] = "owner" }),
		"grower, no farm":   sign(t, hs, key, func(c jwt.MapClaims) { delete(c, "farm") }),
		"manager, no yard":  sign(t, hs, key, func(c jwt.MapClaims) { c["role"] = "yard_manager" }),
		"buyer, no account": sign(t, hs, key, func(c jwt.MapClaims) { c["role"] = "buyer" }),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			id, err := tokens.Verify(token)
			if !errors.Is(err, identity.ErrToken) || id != (identity.Identity{}) {
				t.Errorf("Verify = %v, %v; want nobody and ErrToken", id, err)
			}
		})
	}
}

func TestKeyLength(t *testing.T) {
	t.Parallel()
	if err := identity.CheckKey(make([]byte, identity.MinKeyBytes)); err != nil {
		t.Errorf("a key of %d bytes: %v", identity.MinKeyBytes, err)
	}
	if err := identity.CheckKey(make([]byte, identity.MinKeyBytes-1)); err == nil {
		t.Error("a short key passes")
	}
	defer func() {
		if recover() == nil {
			t.Error("NewTokens took a short key")
		}
	}()
	identity.NewTokens([]byte("secret"), clock.System())
}
