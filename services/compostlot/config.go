package compostlot

import (
	"strconv"

	"breakshare.example/services/platform/config"
)

// Config are the settings of the compostlot service. The zero value is right for one machine.
type Config struct {
	// MaxConnections is the most connections to PostgreSQL, 2 to 1,000; two of them serve the
	// events. Default 10.
	MaxConnections int `json:"max_connections"`
	// MaxReadingsPerStream is the most readings that one upload may hold, 1 to 10,000,000. An
	// upload is held in memory until it is whole, at about 16 bytes a reading. Default
	// 2,000,000, which is 20 probes by the minute for 69 days.
	MaxReadingsPerStream int `json:"max_readings_per_stream"`
}

const (
	defaultConnections = 10
	mostConnections    = 1000
	defaultReadings    = 2_000_000
	mostReadings       = 10_000_000
)

// Check implements config.Checker.
func (c Config) Check(r *config.Report) {
	within(r, "max_connections", c.MaxConnections, 2, mostConnections)
	within(r, "max_readings_per_stream", c.MaxReadingsPerStream, 1, mostReadings)
}

// within reports a setting outside its range; 0 stands for the default.
func within(r *config.Report, setting string, value, least, most int) {
	if value != 0 && (value < least || value > most) {
		r.Add(setting, "is "+strconv.Itoa(value), "give "+strconv.Itoa(least)+" to "+strconv.Itoa(most)+", or leave it out")
	}
}

// withDefaults fills in what is left out.
func (c Config) withDefaults() Config {
	if c.MaxConnections == 0 {
		c.MaxConnections = defaultConnections
	}
	if c.MaxReadingsPerStream == 0 {
		c.MaxReadingsPerStream = defaultReadings
	}
	return c
}
