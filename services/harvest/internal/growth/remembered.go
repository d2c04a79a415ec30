package growth

import (
	"encoding/binary"
	"sync"

	"breakshare.example/services/harvest/internal/forecast"
)

// mostForecasts bounds the forecasts that are remembered; each takes some 50 kB.
const mostForecasts = 512

// forecasts are those made lately: of a crop the same is asked over and over,
// until something is picked, a stage is reached or the day is over.
var forecasts = remembered{made: map[asked]*forecast.Forecast{}}

type remembered struct {
	mu   sync.RWMutex
	made map[asked]*forecast.Forecast // which never change
}

// asked is all that an answer rests on.
type asked struct {
	model *forecast.Model
	rest  string
}

// of is m.Forecast.
func (r *remembered) of(m *forecast.Model, c forecast.Crop, from, days int) (*forecast.Forecast, error) {
	key := asked{m, spelled(c, from, days)}
	r.mu.RLock()
	f := r.made[key]
	r.mu.RUnlock()
	if f != nil {
		return f, nil
	}
	f, err := m.Forecast(c, from, days)
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.made) >= mostForecasts {
		clear(r.made)
	}
	r.made[key] = f
	return f, nil
}

// spelled writes out a question, such that no two read the same.
func spelled(c forecast.Crop, from, days int) string {
	b := make([]byte, 0, 256)
	for _, n := range []int64{int64(c.Seed), c.AreaTenthM2, int64(from), int64(days), int64(len(c.Stages))} {
		b = binary.AppendVarint(b, n)
	}
	for _, s := range c.Stages {
		b = binary.AppendVarint(append(b, byte(s.Stage)), int64(s.Day))
	}
	if c.LastDay != nil {
		b = binary.AppendVarint(append(b, 'x'), int64(*c.LastDay))
	}
	for _, p := range c.Picks {
		kind := byte('p')
		if p.Open {
			kind = 'o'
		}
		b = binary.AppendVarint(binary.AppendVarint(append(b, kind), int64(p.Day)), p.Grams)
	}
	return string(b)
}
