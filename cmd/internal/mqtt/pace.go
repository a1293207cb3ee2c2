package mqtt

import (
	"sync"
	"time"
)

// pace keeps a log readable: of a row of alike events it admits the first burst
// and then as many each minute, the first of them with the number of those held
// back in between.
type pace struct {
	burst int // 0: 1

	mu       sync.Mutex
	next     time.Time
	admitted int // in this minute
	held     int
}

func (p *pace) admit(now time.Time) (held int, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if now.Before(p.next) {
		if p.admitted < p.burst {
			p.admitted++
			return 0, true
		}
		p.held++
		return 0, false
	}
	held, p.held, p.admitted, p.next = p.held, 0, 1, now.Add(time.Minute)
	return held, true
}

// reset ends the row: the next event is admitted.
func (p *pace) reset() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held, p.next = 0, time.Time{}
}
