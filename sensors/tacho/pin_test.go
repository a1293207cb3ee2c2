package tacho

import (
	"errors"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
)

var (
	epoch  = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	errPin = errors.New("line busy")
)

// fakePin plays edges at given times on a clock that only its waits move. It
// keeps edges that nobody waited for, as the kernel does, up to 16.
type fakePin struct {
	gpio.PinIO
	t      testing.TB
	at     time.Duration
	edges  []time.Duration // still to come, ascending
	broken func() bool     // what a broken pin returns at once
	waits  int
	longer bool // a wait went beyond what was asked
	limit  time.Time
	inErr  error
	pull   gpio.Pull
	edge   gpio.Edge
}

func (p *fakePin) String() string { return "GPIO17" }
func (p *fakePin) now() time.Time { return epoch.Add(p.at) }

func (p *fakePin) In(pull gpio.Pull, edge gpio.Edge) error {
	p.pull, p.edge = pull, edge
	return p.inErr
}

func (p *fakePin) WaitForEdge(timeout time.Duration) bool {
	p.waits++
	if timeout <= 0 {
		p.t.Fatalf("WaitForEdge(%v)", timeout)
	}
	if p.now().Add(timeout).After(p.limit) {
		p.longer = true
	}
	if p.broken != nil {
		return p.broken()
	}
	late := 0
	for late < len(p.edges) && p.edges[late] < p.at {
		late++
	}
	if late > 16 {
		p.edges = p.edges[late-16:]
	}
	end := p.at + timeout
	if len(p.edges) > 0 && p.edges[0] < end {
		p.at = max(p.at+time.Microsecond, p.edges[0])
		p.edges = p.edges[1:]
		return true
	}
	p.at = end
	return false
}

// every adds edges of one frequency between two times.
func (p *fakePin) every(period, from, to time.Duration) *fakePin {
	for at := from; at < to; at += period {
		p.edges = append(p.edges, at)
	}
	return p
}

func open(t testing.TB, p *fakePin, o Opts) *Dev {
	t.Helper()
	p.t = t
	o.Now = p.now
	if o.PulsesPerRev == 0 {
		o.PulsesPerRev = 1
	}
	d, err := New(p, &o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// sense calls Sense for the given time and checks that it kept to it.
func sense(t testing.TB, d *Dev, p *fakePin, span time.Duration) (float64, error) {
	t.Helper()
	p.limit = p.now().Add(span)
	rpm, err := d.Sense(p.limit)
	if p.longer || p.now().After(p.limit.Add(time.Microsecond)) {
		t.Fatalf("asked until %v, waited until %v", p.limit, p.now())
	}
	return rpm, err
}
