package order

import (
	"fmt"
	"time"

	"breakshare.example/services/platform/config"
)

// Config are the settings of the order service. The zero value is usable.
type Config struct {
	// MaxConnections is the most connections to PostgreSQL that the service opens, 2 to 1000,
	// beside the one of its outbox. 0 means 8.
	MaxConnections int32 `json:"max_connections"`
	// SolveWithin is the longest that one match may be solved, for example "30s"; at least
	// "1s". Nothing, or "0s", means 30 s.
	SolveWithin config.Duration `json:"solve_within"`
	// ExpandEvery is how often it is looked whether standing orders lack orders for the days of
	// the horizon, for example "15m"; at least "1s". Nothing, or "0s", means 15 min.
	ExpandEvery config.Duration `json:"expand_every"`
}

// Defaults of Config.
const (
	defaultConnections = 8
	defaultSolveWithin = 30 * time.Second
	defaultExpandEvery = 15 * time.Minute
)

// Check implements config.Checker.
func (c Config) Check(r *config.Report) {
	if c.MaxConnections != 0 && (c.MaxConnections < 2 || c.MaxConnections > 1000) {
		r.Add("max_connections", fmt.Sprintf("is %d", c.MaxConnections), "give 2 to 1000, or leave it out for 8")
	}
	if c.SolveWithin != 0 && c.SolveWithin.Std() < time.Second {
		r.Add("solve_within", "is "+c.SolveWithin.String(), `give at least "1s", or leave it out for 30 s`)
	}
	if c.ExpandEvery != 0 && c.ExpandEvery.Std() < time.Second {
		r.Add("expand_every", "is "+c.ExpandEvery.String(), `give at least "1s", or leave it out for 15 min`)
	}
}

// withDefaults fills in what was left out.
func (c Config) withDefaults() Config {
	if c.MaxConnections == 0 {
		c.MaxConnections = defaultConnections
	}
	if c.SolveWithin == 0 {
		c.SolveWithin = config.Duration(defaultSolveWithin)
	}
	if c.ExpandEvery == 0 {
		c.ExpandEvery = config.Duration(defaultExpandEvery)
	}
	return c
}
