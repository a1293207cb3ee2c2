package mqtt

import (
	"sync"
	"time"
)

// pace keeps a log readable: of a row of alike events it admits the first and
// then one a minute, with the number of those held back in between.
type pace struct {
	mu   sync.Mutex
	next time.Time
	held int
}

func (p *pace) admit(now time.Time) (held int, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if now.Before(p.next) {
		p.held++
		return 0, false
	}
	held, p.held, p.next = p.held, 0, now.Add(time.Minute)
	return held, true
}

// reset ends the row: the next event is admitted.
func (p *pace) reset() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held, p.next = 0, time.Time{}
}
