package sensors

import (
	"sync"
	"time"
)

// Latest passes the newest reading of one channel to sensors that need it for
// their own conversion: the supply to a ratiometric sensor, the air's
// temperature to a CO cell. The sensor that measures it writes, any may read.
type Latest struct {
	mu sync.Mutex
	r  Reading
}

// Put replaces the reading.
func (l *Latest) Put(r Reading) {
	l.mu.Lock()
	l.r = r
	l.mu.Unlock()
}

// latestAge is the age up to which a Latest value may be reckoned with: that
// at which a channel is stale at the latest.
const latestAge = 3 * time.Second

// Value returns the value if it is good and live. A nil Latest has none.
func (l *Latest) Value(now time.Time) (float64, bool) {
	if l == nil {
		return 0, false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.r.Value, l.r.Status == Good && now.Sub(l.r.At) <= latestAge
}
