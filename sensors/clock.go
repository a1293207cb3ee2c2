package sensors

import (
	"context"
	"time"
)

// Clock is the daemon's only source of time and its only way to wait: the
// system's in `run`, a faster one in `demo`.
type Clock interface {
	// Now returns the time with its monotonic part.
	Now() time.Time
	// Sleep waits for d, or less if ctx ends first.
	Sleep(ctx context.Context, d time.Duration)
}
