package scheduling

import (
	"fmt"

	"breakshare.example/services/platform/config"
)

// Config is the service's section of the settings. The zero value is right for one
// machine.
type Config struct {
	// MaxConnections is the most connections to PostgreSQL that the service's pool
	// opens, 1 to 1000; its relay takes one more. 0 stands for 8.
	MaxConnections int32 `json:"max_connections"`
	// MaxPlanSteps ends the search for a plan, before its seconds are over, after
	// about so many replans of a single room; at least 0. 0 sets no limit.
	MaxPlanSteps int64 `json:"max_plan_steps"`
}

const defaultConnections = 8

// Check adds a problem to r for everything that makes no sense.
func (c Config) Check(r *config.Report) {
	if c.MaxConnections < 0 || c.MaxConnections > 1000 {
		r.Add("max_connections", fmt.Sprintf("is %d", c.MaxConnections), "give 1 to 1000, or leave it out for 8")
	}
	if c.MaxPlanSteps < 0 {
		r.Add("max_plan_steps", fmt.Sprintf("is %d", c.MaxPlanSteps), "give at least 1, or leave it out for no limit")
	}
}

func (c Config) connections() int32 {
	if c.MaxConnections == 0 {
		return defaultConnections
	}
	return c.MaxConnections
}
