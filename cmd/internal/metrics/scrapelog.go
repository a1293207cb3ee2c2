package metrics

import (
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"
)

// logEvery bounds how often a scrape that goes wrong is logged.
const logEvery = time.Minute

// scrapeLog logs the first error of a scrape, then at most one a minute with
// the number of those between. It is safe for concurrent scrapes.
type scrapeLog struct {
	log *slog.Logger
	now func() time.Time

	mu     sync.Mutex
	last   time.Time
	silent int // errors since last
}

// Println is what promhttp calls.
func (l *scrapeLog) Println(v ...any) {
	l.mu.Lock()
	now := l.now()
	if !l.last.IsZero() && now.Sub(l.last) < logEvery {
		l.silent++
		l.mu.Unlock()
		return
	}
	silent := l.silent
	l.last, l.silent = now, 0
	l.mu.Unlock()
	l.log.Warn("metrics: scrape: "+strings.TrimSpace(fmt.Sprintln(v...)), "unlogged_before", silent)
}
