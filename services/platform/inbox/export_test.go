package inbox

// StopAfterCommit lets a test stop the consumer when the transaction is
// committed and the message not yet acknowledged. An error of the hook leaves
// it unacknowledged, as a crash does.
func (c *Consumer) StopAfterCommit(hook func(Message) error) { c.hooks.committed = hook }

// For table tests of the pure parts.
var (
	Backoff  = backoff
	IsOutage = isOutage
	OneLine  = oneLine
)
