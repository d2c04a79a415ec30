package identity

import (
	"errors"
	"fmt"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/ids"
)

// MinKeyBytes is the least length of the signing key: HS256 wants a key at
// least as long as its hash, 256 bits (RFC 7518, section 3.2).
const MinKeyBytes = 32

// issuer names who signed, so that a token made with the same key for another
// purpose is refused.
const issuer = "breakshare"

// ErrToken is what Verify's errors wrap: the token is malformed, expired,
// signed with another key or algorithm, or lacks a claim.
var ErrToken = errors.New("token refused")

// Tokens mints and verifies the suite's bearer tokens: JWTs (RFC 7519) signed
// with HS256. It is safe for use by many goroutines.
type Tokens struct {
	key    []byte
	clk    clock.Clock
	parser *jwt.Parser
	memory remembered
}

// claims is the token's body. The subject is the caller's name.
type claims struct {
	jwt.RegisteredClaims
	Coop     string `json:"coop"`
	Role     Role   `json:"role"`
	Farm     string `json:"farm,omitempty"`
	Yard     string `json:"yard,omitempty"`
	Customer string `json:"customer,omitempty"`
}

// NewTokens returns a minter and verifier for key. It panics when the key is
// shorter than MinKeyBytes; check a key that comes from outside with CheckKey
// first.
func NewTokens(key []byte, clk clock.Clock) *Tokens {
	if err := CheckKey(key); err != nil {
		panic(err.Error())
	}
	return &Tokens{
		key: append([]byte(nil), key...),
		clk: clk,
		parser: jwt.NewParser(
			jwt.WithValidMethods([]string{jwt.SigningMethodHS256.Alg()}),
			jwt.WithIssuer(issuer),
			jwt.WithExpirationRequired(),
			jwt.WithIssuedAt(),
			// NumericDate is whole seconds; one second of leeway keeps a token
			// minted on another machine a moment ahead of us good.
			jwt.WithLeeway(time.Second),
			jwt.WithTimeFunc(clk.Now),
			jwt.WithStrictDecoding(),
		),
	}
}

// CheckKey refuses a signing key shorter than MinKeyBytes.
func CheckKey(key []byte) error {
	if len(key) < MinKeyBytes {
		return fmt.Errorf("identity: the signing key has %d bytes; HS256 wants at least %d: make one with `openssl rand -base64 32`", len(key), MinKeyBytes)
	}
	return nil
}

// Mint signs a token for id that is good for ttl from now. It refuses an
// identity that Validate refuses (a *Problem) and a ttl under one second.
func (t *Tokens) Mint(id Identity, ttl time.Duration) (string, error) {
	if err := id.Validate(); err != nil {
		return "", fmt.Errorf("mint a token: %w", err)
	}
	if ttl < time.Second {
		return "", fmt.Errorf("mint a token: it would live %v; give at least one second", ttl)
	}
	now := t.clk.Now()
	c := claims{
		RegisteredClaims: jwt.RegisteredClaims{
			ID:        ids.New(),
			Issuer:    issuer,
			Subject:   id.Name,
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(ttl)),
		},
		Coop: id.CoopID, Role: id.Role,
		Farm: id.FarmID, Yard: id.YardID, Customer: id.CustomerID,
	}
	token, err := jwt.NewWithClaims(jwt.SigningMethodHS256, c).SignedString(t.key)
	if err != nil {
		return "", fmt.Errorf("mint a token: %w", err)
	}
	return token, nil
}

// Verify checks the token's algorithm, signature, issuer, expiry and claims
// and returns whom it speaks for. Every error wraps ErrToken; one about a
// claim wraps a *Problem too.
func (t *Tokens) Verify(token string) (Identity, error) {
	now := t.clk.Now()
	if id, ok := t.memory.recall(token, now); ok {
		return id, nil
	}
	var c claims
	_, err := t.parser.ParseWithClaims(token, &c, func(*jwt.Token) (any, error) { return t.key, nil })
	if err != nil {
		return Identity{}, fmt.Errorf("%w: %w", ErrToken, err)
	}
	id := Identity{
		CoopID: c.Coop, Role: c.Role,
		FarmID: c.Farm, YardID: c.Yard, CustomerID: c.Customer,
		Name: c.Subject,
	}
	if err := id.Validate(); err != nil {
		return Identity{}, fmt.Errorf("%w: %w", ErrToken, err)
	}
	t.memory.keep(token, verified{id: id, from: now, until: c.ExpiresAt.Time})
	return id, nil
}
