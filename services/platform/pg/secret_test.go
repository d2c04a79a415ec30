package pg

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"testing"
)

func decode(t *testing.T, text string) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The exchange printed in RFC 7677, section 3, of user "user" with password
// "pencil": its server signature must come of our ServerKey, and its client
// proof of our StoredKey.
func TestSCRAMVerifierAgainstRFC7677(t *testing.T) {
	t.Parallel()
	const (
		nonce       = "rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0"
		salt        = "W22ZaJ0SNY7soEsUEjb6gQ=="
		auth        = "n=user,r=rOprNGfwEbeRWgbNEkqO,r=" + nonce + ",s=" + salt + ",i=4096,c=biws,r=" + nonce
		clientProof = "dHzbZapWIk4jUhN+Ute9ytag9zjfMHgsqmmiz7AndVQ="
		serverSign  = "6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4="
	)
	verifier, err := scramVerifierSalted("pencil", decode(t, salt), 4096)
	if err != nil {
		t.Fatal(err)
	}
	keys, ok := strings.CutPrefix(verifier, "SCRAM-SHA-256$4096:"+salt+"$")
	if !ok {
		t.Fatalf("verifier %s does not begin with method, iterations and salt", verifier)
	}
	stored, server, _ := strings.Cut(keys, ":")
	sign := func(key []byte) []byte {
		m := hmac.New(sha256.New, key)
		m.Write([]byte(auth))
		return m.Sum(nil)
	}
	if got := base64.StdEncoding.EncodeToString(sign(decode(t, server))); got != serverSign {
		t.Errorf("server signature %s, want %s", got, serverSign)
	}
	clientKey := decode(t, clientProof)
	for i, b := range sign(decode(t, stored)) {
		clientKey[i] ^= b
	}
	sum := sha256.Sum256(clientKey)
	if got := base64.StdEncoding.EncodeToString(sum[:]); got != stored {
		t.Errorf("the proof gives stored key %s, want %s", got, stored)
	}
}

func TestPasswordsDifferByRoleAndSecret(t *testing.T) {
	t.Parallel()
	a := rolePassword([]byte("one"), "breakshare_order")
	for _, other := range []string{
		rolePassword([]byte("one"), "breakshare_order_relay"),
		rolePassword([]byte("two"), "breakshare_order"),
	} {
		if other == a {
			t.Error("two passwords are equal")
		}
	}
	if again := rolePassword([]byte("one"), "breakshare_order"); again != a {
		t.Error("the password is not the same again")
	}
	if len(a) != 43 {
		t.Errorf("the password has %d characters, want 43 (256 bits in base64)", len(a))
	}
}
