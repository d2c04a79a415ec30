package harvest

import (
	"cmp"
	"fmt"
	"time"

	"breakshare.example/services/harvest/internal/server"
	"breakshare.example/services/platform/config"
)

// Config are the settings of the harvest service. The zero value is right for a
// co-op or two on one machine.
type Config struct {
	// MaxConnections is the most connections to PostgreSQL that the service
	// holds, 4 to 1000; the relay of its events has 2 more. Default 16. Three
	// are taken while events of the other services come in.
	MaxConnections int32 `json:"max_connections"`
	// HorizonDays is how many days ahead a pick may be expected, 1 to 400.
	// Default 60.
	HorizonDays int `json:"horizon_days"`
	// CutOff is the time of day, in the co-op's time zone, on the day before
	// picking, after which a push is late and the day is closed: the forecast
	// then stands in for whoever has not pushed. Written as "15:30". Default
	// "16:00".
	CutOff string `json:"cut_off"`
	// KeepOpen leaves days open until somebody closes them.
	KeepOpen bool `json:"keep_open"`
}

// defaultConnections serves a few dozen callers at once, who each hold a
// connection for milliseconds.
const defaultConnections = 16

// Check adds a problem to r for every setting that makes no sense.
func (c Config) Check(r *config.Report) {
	if n := c.MaxConnections; n != 0 && (n < 4 || n > 1000) {
		r.Add("max_connections", fmt.Sprintf("is %d", n), "give 4 to 1000, or 0 for the default of 16")
	}
	if n := c.HorizonDays; n < 0 || n > 400 {
		r.Add("horizon_days", fmt.Sprintf("is %d", n), "give 1 to 400, or 0 for the default of 60")
	}
	if _, err := c.cutOff(); err != nil {
		r.Add("cut_off", fmt.Sprintf("is %q", c.CutOff), `give a time of day such as "15:30", or nothing for the default of "16:00"`)
	}
}

const (
	defaultHorizon = 60
	defaultCutOff  = "16:00"
)

func (c Config) cutOff() (time.Duration, error) {
	t, err := time.Parse("15:04", cmp.Or(c.CutOff, defaultCutOff))
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, err
}

func (c Config) rules() (server.Rules, error) {
	cutOff, err := c.cutOff()
	return server.Rules{HorizonDays: cmp.Or(c.HorizonDays, defaultHorizon), CutOff: cutOff}, err
}

func (c Config) connections() int32 {
	if c.MaxConnections == 0 {
		return defaultConnections
	}
	return c.MaxConnections
}
