package harvest

import (
	"fmt"

	"breakshare.example/services/platform/config"
)

// Config are the settings of the harvest service. The zero value is right for a
// co-op or two on one machine.
type Config struct {
	// MaxConnections is the most connections to PostgreSQL that the service
	// holds, 4 to 1000; the relay of its events has 2 more. Default 16. Three
	// are taken while events of the other services come in.
	MaxConnections int32 `json:"max_connections"`
}

// defaultConnections serves a few dozen callers at once, who each hold a
// connection for milliseconds.
const defaultConnections = 16

// Check adds a problem to r for every setting that makes no sense.
func (c Config) Check(r *config.Report) {
	if n := c.MaxConnections; n != 0 && (n < 4 || n > 1000) {
		r.Add("max_connections", fmt.Sprintf("is %d", n), "give 4 to 1000, or 0 for the default of 16")
	}
}

func (c Config) connections() int32 {
	if c.MaxConnections == 0 {
		return defaultConnections
	}
	return c.MaxConnections
}
