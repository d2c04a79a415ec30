package identity

import (
	"sync"
	"time"
)

// mostRemembered bounds each of the two memories of Tokens: enough for every
// caller of some co-ops at once. A full one is emptied.
const mostRemembered = 4096

// remembered are tokens that were signed or checked a short while ago: a caller
// calls again and again with the same one.
type remembered struct {
	mu       sync.RWMutex
	minted   map[mintedFor]minted
	verified map[string]verified // by token
}

type mintedFor struct {
	id  Identity
	ttl time.Duration
}

type minted struct {
	token string
	until time.Time // when it has lived half its life
}

type verified struct {
	id          Identity
	from, until time.Time
}

// Lend is Mint for one who calls often: it returns a token that is good for ttl
// from now at least, and the same one for as long as that is so. The token is
// signed for twice the ttl.
func (t *Tokens) Lend(id Identity, ttl time.Duration) (string, error) {
	now, key := t.clk.Now(), mintedFor{id, ttl}
	t.memory.mu.RLock()
	m, ok := t.memory.minted[key]
	t.memory.mu.RUnlock()
	if ok && now.Before(m.until) && !now.Before(m.until.Add(time.Second-ttl)) {
		return m.token, nil
	}
	token, err := t.Mint(id, 2*ttl)
	if err != nil {
		return "", err
	}
	t.memory.mu.Lock()
	defer t.memory.mu.Unlock()
	if t.memory.minted == nil || len(t.memory.minted) >= mostRemembered {
		t.memory.minted = map[mintedFor]minted{}
	}
	// A token's times are whole seconds: the last one may be cut short.
	t.memory.minted[key] = minted{token, now.Add(ttl - time.Second)}
	return token, nil
}

// recall returns whom a token speaks for that was checked before, while it is
// good.
func (r *remembered) recall(token string, now time.Time) (Identity, bool) {
	r.mu.RLock()
	v, ok := r.verified[token]
	r.mu.RUnlock()
	return v.id, ok && !now.Before(v.from) && now.Before(v.until)
}

func (r *remembered) keep(token string, v verified) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.verified == nil || len(r.verified) >= mostRemembered {
		r.verified = map[string]verified{}
	}
	r.verified[token] = v
}
