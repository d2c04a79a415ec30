package identity_test

import (
	"testing"
	"time"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
)

// A lent token is the same one while it has its time to live, and another after.
func TestLendReusesATokenWhileItLives(t *testing.T) {
	t.Parallel()
	clk := clock.NewManual(noon)
	tokens := identity.NewTokens(key, clk)
	lend := func(id identity.Identity) string {
		t.Helper()
		token, err := tokens.Lend(id, time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := tokens.Verify(token); err != nil || got != id {
			t.Fatalf("Verify of a lent token: %v, %v", got, err)
		}
		return token
	}
	other := grower()
	other.FarmID = "11111111-1111-4111-8111-111111111111"
	first := lend(grower())
	if lend(grower()) != first {
		t.Error("two tokens in one moment")
	}
	if lend(other) == first {
		t.Error("two callers share a token")
	}
	clk.Advance(58 * time.Second)
	if lend(grower()) != first {
		t.Error("a token with a minute to live was not used again")
	}
	clk.Advance(2 * time.Second)
	second := lend(grower())
	if second == first {
		t.Error("a token with less than a minute to live was lent again")
	}
	clk.Set(noon.Add(-time.Hour))
	if token, err := tokens.Lend(grower(), time.Minute); err != nil || token == second {
		t.Errorf("a token of the future was lent (err %v)", err)
	}
	if _, err := tokens.Lend(identity.Identity{}, time.Minute); err == nil {
		t.Error("a token for nobody was lent")
	}
}

// What was checked once is refused once its time is over, and before it began.
func TestVerifyForgetsExpiredTokens(t *testing.T) {
	t.Parallel()
	clk := clock.NewManual(noon)
	tokens := identity.NewTokens(key, clk)
	token, err := tokens.Mint(grower(), time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, err := tokens.Verify(token); err != nil {
			t.Fatal(err)
		}
	}
	for _, now := range []time.Time{noon.Add(62 * time.Second), noon.Add(-time.Minute)} {
		clk.Set(now)
		if _, err := tokens.Verify(token); err == nil {
			t.Errorf("good at %s", now)
		}
	}
}
