package outbox

import "context"

// StopAfterNumbering lets a test stop the relay when sequences are committed
// and nothing is published.
func (r *Relay) StopAfterNumbering(hook func(context.Context) error) { r.hooks.numbered = hook }

// StopAfterPublishing lets a test stop the relay when the bus has acknowledged
// and nothing is marked.
func (r *Relay) StopAfterPublishing(hook func(context.Context) error) { r.hooks.published = hook }
