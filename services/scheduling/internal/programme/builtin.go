package programme

import (
	"embed"
	"fmt"
	"path"
)

// The programmes the suite ships, one file each, named by id.
//
//go:embed builtin/*.json
var builtin embed.FS

// Builtin returns the programmes the suite ships, ordered by id. Each call
// returns fresh values, free to be changed. They are starting points within
// published ranges: a co-op copies one and sets it to its own rooms.
func Builtin() ([]*Programme, error) {
	entries, err := builtin.ReadDir("builtin")
	if err != nil {
		return nil, fmt.Errorf("list built-in crop programmes: %w", err)
	}
	out := make([]*Programme, 0, len(entries))
	for _, e := range entries {
		text, err := builtin.ReadFile(path.Join("builtin", e.Name()))
		if err != nil {
			return nil, fmt.Errorf("read built-in crop programme %s: %w", e.Name(), err)
		}
		p, err := Decode(text)
		if err != nil {
			return nil, fmt.Errorf("built-in crop programme %s: %w", e.Name(), err)
		}
		out = append(out, p)
	}
	return out, nil
}
