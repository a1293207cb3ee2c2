// Package tacho reckons engine speed from the pulses of a pick-up on a GPIO
// pin: a coil tapped through an opto-coupler, a Hall sensor or a reed.
package tacho

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// What a caller may branch on.
var (
	// ErrPin: the wait for an edge returns at once, again and again, without
	// one: the line is closed, taken by somebody else or not set for edges.
	ErrPin = errors.New("wait for an edge returns at once")
	// ErrUnsettled: the pin has not been watched for a whole Window yet, so
	// that "no pulse" does not mean 0 rpm.
	ErrUnsettled = errors.New("not watched long enough to tell")
)

const (
	// idleWaits is how many waits in a row may end without an edge before
	// their time, or without time passing at all. One may be a signal to the
	// process.
	idleWaits = 64
	// settle is the time after a break in which the kernel hands out what it
	// has kept (16 edges), and nobody knows when those edges were.
	settle = 5 * time.Millisecond
	// maxPause is the longest break between two calls after which the pulses seen
	// so far still count: the kernel keeps the edges of a shorter one (16, which
	// is 9600 rpm at one pulse per turn), though they then seem to come at its end.
	maxPause = 100 * time.Millisecond
	// maxEdges bounds the memory of one Dev (96 KiB).
	maxEdges = 4096
)

// Opts describe the pick-up.
type Opts struct {
	// PulsesPerRev is how many of the edges chosen by Edge come in one turn of
	// the crankshaft; required. A spark in every turn (wasted spark) is 1, a
	// four-stroke's camshaft 0.5. BothEdges counts each pulse twice.
	PulsesPerRev float64
	// MaxRPM is well above any speed the engine can reach; 0 means 6000. Edges
	// closer together are ignition noise and are dropped.
	MaxRPM float64
	// Window is the time over which speed is averaged and after which no pulse
	// means standstill; 0 means 1 s. Slower than one pulse a Window, which is
	// 60 rpm at 1 pulse per turn and 1 s, reads 0.
	Window time.Duration
	Now    func() time.Time // required
	Pull   gpio.Pull
	Edge   gpio.Edge // NoEdge means RisingEdge
}

// Dev is one pick-up. One goroutine owns it.
type Dev struct {
	pin      gpio.PinIn
	now      func() time.Time
	perRev   float64
	shortest time.Duration // between two edges that are not noise
	window   time.Duration
	ring     ring
	since    time.Time // watched without a break since then
	until    time.Time // end of the last Sense
}

// New configures the pin for edges. Silence on the pin is no error: the engine
// may be standing.
func New(p gpio.PinIn, o *Opts) (*Dev, error) {
	if p == nil || o == nil || o.Now == nil {
		return nil, errors.New("tacho: a pin and Opts.Now are required")
	}
	maxRPM, window, edge := o.MaxRPM, o.Window, o.Edge
	if maxRPM == 0 {
		maxRPM = 6000
	}
	if window == 0 {
		window = time.Second
	}
	if edge == gpio.NoEdge {
		edge = gpio.RisingEdge
	}
	fastest := maxRPM / 60 * o.PulsesPerRev // Hz
	edges := fastest*window.Seconds() + 2
	if !(o.PulsesPerRev > 0 && maxRPM > 0 && window > 0 && edges > 3 && edges <= maxEdges) {
		return nil, fmt.Errorf("tacho: %s: %v pulses per turn up to %v rpm in %v: all above 0, 1 to %d pulses in that time",
			p, o.PulsesPerRev, maxRPM, window, maxEdges-2)
	}
	if err := p.In(o.Pull, edge); err != nil {
		return nil, fmt.Errorf("tacho: %s: set for edges: %w", p, err)
	}
	return &Dev{
		pin:      p,
		now:      o.Now,
		perRev:   o.PulsesPerRev,
		shortest: time.Duration(float64(time.Second) / fastest),
		window:   window,
		ring:     ring{at: make([]time.Time, int(math.Ceil(edges)))},
	}, nil
}

// String returns "tacho{GPIO17}".
func (d *Dev) String() string { return fmt.Sprintf("tacho{%s}", d.pin) }

// Sense counts edges until the given time, never longer, and returns the speed
// in rpm, 0..MaxRPM; 0 means that no pulse came for a Window. Edges are counted
// only while it runs: call it again within 0.1 s, else it has to start afresh.
// Errors come with NaN and wrap ErrUnsettled or ErrPin.
func (d *Dev) Sense(until time.Time) (float64, error) {
	now := d.now()
	if d.since.IsZero() || now.Sub(d.until) > maxPause {
		d.ring.clear()
		d.since = now
	}
	for idle := 0; now.Before(until); {
		// Always above 0: drivers disagree about what 0 and -1 mean.
		edge, before := d.pin.WaitForEdge(until.Sub(now)), now
		now = d.now()
		switch {
		case edge && now.After(before), !edge && !now.Before(until):
			idle = 0
		default:
			if idle++; idle > idleWaits {
				d.since = time.Time{}
				return math.NaN(), fmt.Errorf("tacho: %s: %w: check that nothing else uses the pin", d.pin, ErrPin)
			}
		}
		if edge && now.Sub(d.since) >= settle {
			d.edge(now)
		}
	}
	d.until = now
	return d.speed(now)
}

// edge takes a pulse at t unless it is noise. A pulse after a standstill
// begins anew.
func (d *Dev) edge(t time.Time) {
	if d.ring.n > 0 {
		gap := t.Sub(d.ring.last())
		if gap < d.shortest {
			return
		}
		if gap > d.window {
			d.ring.clear()
		}
	}
	d.ring.push(t)
}

// speed is the reciprocal method: whole periods over the time they took, which
// at low speed is far finer than counting pulses in a fixed time. Of what is
// older than Window the newest two edges stay, so that one period is known.
func (d *Dev) speed(now time.Time) (float64, error) {
	for d.ring.n > 2 && now.Sub(d.ring.first()) > d.window {
		d.ring.drop()
	}
	if d.ring.n > 0 && now.Sub(d.ring.last()) > d.window {
		d.ring.clear()
	}
	if d.ring.n < 2 {
		watched := now.Sub(d.since)
		if d.ring.n == 1 { // a lone pulse: standstill only if a Window without one came before
			watched = d.ring.first().Sub(d.since)
		}
		if watched < d.window {
			return math.NaN(), fmt.Errorf("tacho: %s: %v of %v: %w", d.pin, watched, d.window, ErrUnsettled)
		}
		return 0, nil
	}
	period := d.ring.last().Sub(d.ring.first()).Seconds() / float64(d.ring.n-1)
	// A pulse that is overdue says how slow the engine must be by now.
	period = max(period, now.Sub(d.ring.last()).Seconds())
	return 60 / (period * d.perRev), nil
}
