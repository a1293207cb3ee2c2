package main

import (
	"fmt"
	"io"
	"time"
)

// progress tells a person at a terminal how far long work is, and nobody else.
type progress struct {
	w    io.Writer // nil: nobody looks
	what string
	next time.Time
	told bool
}

func newProgress(c *call, what string) *progress {
	p := &progress{what: what, next: time.Now().Add(time.Second)}
	if isTerminal(c.err) {
		p.w = c.err
	}
	return p
}

// at tells that done of total is done, once a second at most.
func (p *progress) at(done, total int64) {
	if p.w == nil || total <= 0 || time.Now().Before(p.next) {
		return
	}
	p.next, p.told = time.Now().Add(time.Second), true
	fmt.Fprintf(p.w, "\r%s: %3.0f %%", p.what, 100*float64(done)/float64(total))
}

// done clears the line.
func (p *progress) done() {
	if p.told {
		fmt.Fprint(p.w, "\r\033[K")
	}
}
