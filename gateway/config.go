package gateway

import "breakshare.example/services/platform/config"

// defaultMaxBody is room for a season's files of a large co-op.
const defaultMaxBody = 16 << 20

// Config is the gateway's section of the settings. The zero value is usable.
type Config struct {
	// MaxBodyBytes is the largest request that is read, in bytes. Default 16 MiB.
	MaxBodyBytes int64 `json:"max_body_bytes"`
}

// Check implements config.Checker.
func (c Config) Check(r *config.Report) {
	if c.MaxBodyBytes < 0 {
		r.Add("max_body_bytes", "is negative", "give a number of bytes, or leave it out for 16 MiB")
	}
}

func (c Config) maxBody() int64 {
	if c.MaxBodyBytes == 0 {
		return defaultMaxBody
	}
	return c.MaxBodyBytes
}
