package gateway

import (
	"time"

	"breakshare.example/services/platform/config"
)

// defaultMaxBody is room for a season's files of a large co-op.
const defaultMaxBody = 16 << 20

// Config is the gateway's section of the settings. The zero value is usable.
type Config struct {
	// MaxBodyBytes is the largest request that is read, in bytes. Default 16 MiB.
	MaxBodyBytes int64 `json:"max_body_bytes"`
	// LiveSeconds is how often what somebody looks at is read anew for live updates, once for
	// all who look at it, in seconds, 1 to 3,600. Default 5.
	LiveSeconds int `json:"live_seconds"`
}

// Check implements config.Checker.
func (c Config) Check(r *config.Report) {
	if c.MaxBodyBytes < 0 {
		r.Add("max_body_bytes", "is negative", "give a number of bytes, or leave it out for 16 MiB")
	}
	if c.LiveSeconds < 0 || c.LiveSeconds > 3600 {
		r.Add("live_seconds", "is not between 1 and 3600", "give a number of seconds, or leave it out for 5")
	}
}

// liveEvery is 0 for the default.
func (c Config) liveEvery() time.Duration { return time.Duration(c.LiveSeconds) * time.Second }

func (c Config) maxBody() int64 {
	if c.MaxBodyBytes == 0 {
		return defaultMaxBody
	}
	return c.MaxBodyBytes
}
