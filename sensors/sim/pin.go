package sim

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"time"

	"charwarden/sensors"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

const (
	// maxEdges is how many edges wait for a reader. Linux keeps 16 a line; here
	// it is more, because at a fast clock a punctual reader looks slow.
	maxEdges = 1024
	// pulseStep is how often the rate of pulses is looked at.
	pulseStep = 50 * time.Millisecond
	// pulseMemory is how far back pulses are counted for a reader that was away.
	pulseMemory = 10 * time.Second
)

// pin is one GPIO line. It behaves like gpioioctl.GPIOLine of periph's host
// v3.8.5, traps included: Read turns an output into an input with pull-up, and
// WaitForEdge takes 0 for no limit and a negative one for one that has passed.
type pin struct {
	clock sensors.Clock
	name  string

	mu     sync.Mutex
	out    bool
	level  gpio.Level // that it is driven with; Low while it is an input
	edges  int        // changes of level
	pull   gpio.Pull
	edge   gpio.Edge
	chips  []*MAX31855                 // that this pin selects
	driven func(gpio.Level, time.Time) // a chip's input on the wire; nil: none
	shown  func(time.Time) gpio.Level  // a chip's output on it; nil: none
	hz     func(time.Time) float64
	phase  float64   // of the pulse train, 0..1; the first half is High
	at     time.Time // to which phase and waiting are counted
	waits  int       // edges that nobody has asked for yet
	halted context.Context
	halt   context.CancelFunc
}

func newPin(c sensors.Clock, name string) *pin {
	p := &pin{clock: c, name: name, at: c.Now()}
	p.halted, p.halt = context.WithCancel(context.Background())
	return p
}

func (p *pin) String() string         { return p.name }
func (p *pin) Name() string           { return p.name }
func (p *pin) DefaultPull() gpio.Pull { return gpio.PullNoChange }
func (p *pin) PWM(gpio.Duty, physic.Frequency) error {
	return errors.New("sim: " + p.name + ": no hardware PWM")
}

// Number returns the number at the end of the name, "GPIO17", or -1.
func (p *pin) Number() int {
	digits := strings.TrimLeft(p.name, "ABCDEFGHIJKLMNOPQRSTUVWXYZ_")
	n := 0
	for _, d := range digits {
		if d < '0' || d > '9' {
			return -1
		}
		n = n*10 + int(d-'0')
	}
	if digits == "" {
		return -1
	}
	return n
}

// Function is "In" or "Out", with the level as this end sees it.
func (p *pin) Function() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out {
		return "Out/" + p.level.String()
	}
	return "In"
}

func (p *pin) Pull() gpio.Pull {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.pull
}

// Halt ends the waits for an edge that are under way.
func (p *pin) Halt() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.interrupt()
	return nil
}

func (p *pin) In(pull gpio.Pull, edge gpio.Edge) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.in(pull, edge)
	return nil
}

func (p *pin) Out(l gpio.Level) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.out {
		p.interrupt()
	}
	p.set(true, l)
	p.pull, p.edge = gpio.PullNoChange, gpio.NoEdge
	return nil
}

func (p *pin) Read() gpio.Level {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out {
		p.in(gpio.PullUp, gpio.NoEdge)
	}
	if p.hz != nil {
		p.count(p.clock.Now())
		return p.phase < 0.5
	}
	if p.shown != nil {
		return p.shown(p.clock.Now())
	}
	return p.pull == gpio.PullUp
}

func (p *pin) WaitForEdge(timeout time.Duration) bool {
	p.mu.Lock()
	halted, end := p.halted, p.clock.Now().Add(timeout)
	p.mu.Unlock()
	if timeout < 0 {
		return false
	}
	for halted.Err() == nil {
		p.mu.Lock()
		now := p.clock.Now()
		p.count(now)
		seen := p.waits > 0
		if seen {
			p.waits--
		}
		deaf, next := p.edge == gpio.NoEdge, p.next(now)
		p.mu.Unlock()
		if seen || deaf {
			return seen
		}
		if timeout > 0 {
			left := end.Sub(now)
			if left <= 0 {
				return false
			}
			next = min(next, left)
		}
		p.clock.Sleep(halted, next)
	}
	return false
}

// in makes the pin an input. Needs p.mu.
func (p *pin) in(pull gpio.Pull, edge gpio.Edge) {
	p.set(false, gpio.Low)
	p.pull, p.edge = pull, edge
	p.at, p.waits = p.clock.Now(), 0
	p.interrupt()
}

// wire is the level on a wire that is pulled up when this end lets go of it.
func (p *pin) wire() gpio.Level { return gpio.Level(!p.out) || p.level }

// set drives the pin, or lets go of it with level Low; it counts what a load
// sees and tells the chips that hang on the wire. Needs p.mu.
func (p *pin) set(out bool, l gpio.Level) {
	was := p.wire()
	if l != p.level {
		p.edges++
	}
	p.out, p.level = out, l
	if l = p.wire(); l == was {
		return
	}
	now := p.clock.Now()
	for _, c := range p.chips {
		if l == gpio.Low {
			c.selectLow(now)
		} else {
			c.selectHigh(now)
		}
	}
	if p.driven != nil {
		p.driven(l, now)
	}
}

func (p *pin) interrupt() {
	p.halt()
	p.halted, p.halt = context.WithCancel(context.Background())
}

func (p *pin) selects(c *MAX31855) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.chips = append(p.chips, c)
	if p.wire() == gpio.Low {
		c.selectLow(p.clock.Now())
	}
}

// drives wires the pin to a chip's input, which is told of every edge.
func (p *pin) drives(input func(gpio.Level, time.Time)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.driven = input
}

// shows wires the pin to a chip's output.
func (p *pin) shows(output func(time.Time) gpio.Level) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.shown = output
}

func (p *pin) selected() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.wire() == gpio.Low
}

func (p *pin) output() (gpio.Level, int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.level, p.edges
}

func (p *pin) feed(hz func(time.Time) float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.hz, p.at, p.waits = hz, p.clock.Now(), 0
}

// rate returns edges of the kind that is looked for, per second. Needs p.mu.
func (p *pin) rate(t time.Time) float64 {
	if p.hz == nil || p.out {
		return 0
	}
	f := p.hz(t)
	if !(f > 0) || math.IsInf(f, 1) {
		return 0
	}
	return f
}

// count lets the pulse train run up to now. Needs p.mu.
func (p *pin) count(now time.Time) {
	if now.Sub(p.at) > pulseMemory {
		p.at = now.Add(-pulseMemory)
	}
	for p.at.Before(now) {
		dt := min(now.Sub(p.at), pulseStep)
		was := p.phase
		p.phase += p.rate(p.at) * dt.Seconds()
		p.at = p.at.Add(dt)
		p.waits += crossed(was, p.phase, p.edge)
		p.phase -= math.Floor(p.phase)
	}
	p.waits = min(p.waits, maxEdges)
}

// crossed counts the edges between two phases: up at whole numbers, down at
// halves.
func crossed(from, to float64, kind gpio.Edge) (n int) {
	if kind == gpio.RisingEdge || kind == gpio.BothEdges {
		n += int(math.Floor(to) - math.Floor(from))
	}
	if kind == gpio.FallingEdge || kind == gpio.BothEdges {
		n += int(math.Floor(to+0.5) - math.Floor(from+0.5))
	}
	return n
}

// next returns how long to sleep before looking for an edge again: to half a
// pulse ahead, a microsecond past it against rounding. Needs p.mu.
func (p *pin) next(now time.Time) time.Duration {
	f := p.rate(now)
	if f == 0 {
		return pulseStep
	}
	ahead := math.Floor(p.phase*2+1)/2 - p.phase
	return min(time.Duration(ahead/f*1e9)+time.Microsecond, pulseStep)
}
