package siren

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/alarms"
)

// system is the clock of a testing/synctest bubble.
type system struct{}

func (system) Now() time.Time { return time.Now() }

func (system) Sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// wire is a pin that must never be read once it is an output, and that can
// refuse.
type wire struct {
	gpio.PinIO // whatever is not asked for
	t          *testing.T
	name       string
	mu         sync.Mutex
	level      gpio.Level
	writes     int
	err        error
}

var errWire = errors.New("operation not permitted")

func newWire(t *testing.T, name string) *wire { return &wire{PinIO: gpio.INVALID, t: t, name: name} }

func (w *wire) Name() string { return w.name }

func (w *wire) Read() gpio.Level {
	w.t.Error("an output was read: that makes it an input with pull-up")
	return gpio.Low
}

func (w *wire) Out(l gpio.Level) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err != nil {
		return w.err
	}
	w.level = l
	w.writes++
	return nil
}

func (w *wire) on() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return bool(w.level)
}

func (w *wire) refuse(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.err = err
}

// The alarms of a desk, in their order: fire between two of gas.
const (
	coEvacuate = iota
	wallStop
	coAlarm
	gasAlarm // priority alarm without a hazard
	coCaution
	supplyNotice
	count
)

func rules() []alarms.Rule {
	return []alarms.Rule{
		coEvacuate:   {Name: "co_evacuate", Channel: "co", Priority: alarms.Evacuate, Hazard: alarms.Gas, Latch: true, Stops: true, Never: true},
		coAlarm:      {Name: "co_alarm", Channel: "co", Priority: alarms.High, Hazard: alarms.Gas},
		wallStop:     {Name: "wall_near_stop", Channel: "wall_near", Priority: alarms.High, Hazard: alarms.Fire, Latch: true, Stops: true},
		gasAlarm:     {Name: "filter_in_alarm", Channel: "filter_in", Priority: alarms.High},
		coCaution:    {Name: "co_caution", Channel: "co", Priority: alarms.Caution},
		supplyNotice: {Name: "supply_high", Channel: "supply", Priority: alarms.Notice},
	}
}

var begin = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// desk is a siren on pins that can be looked at, with a loop that a test ticks
// by hand.
type desk struct {
	t                        *testing.T
	s                        *Siren
	horn, red, yellow, green *wire
	as                       []alarms.Alarm
	ts                       []alarms.Transition
	now                      time.Time
	log                      bytes.Buffer
}

func newDesk(t *testing.T) *desk {
	d := &desk{t: t, now: begin}
	d.horn, d.red, d.yellow, d.green = newWire(t, "GPIO5"), newWire(t, "GPIO6"), newWire(t, "GPIO13"), newWire(t, "GPIO19")
	d.s = New(Opts{Horn: d.horn, Red: d.red, Yellow: d.yellow, Green: d.green, Clock: system{},
		Log: slog.New(slog.NewTextHandler(&d.log, nil))})
	rules := rules()
	for i := range rules {
		d.as = append(d.as, alarms.Alarm{Rule: &rules[i]})
	}
	return d
}

// turn gives an alarm another state; the next tick hands the change over.
func (d *desk) turn(i int, to alarms.State) {
	a := &d.as[i]
	from := a.State
	if to == alarms.Unacknowledged && from != alarms.Acknowledged {
		a.Seq++
	}
	a.State = to
	d.ts = append(d.ts, alarms.Transition{At: d.now, From: from, Alarm: *a})
}

// tick is one update at the present time.
func (d *desk) tick() {
	d.s.Update(d.now, d.as, d.ts)
	d.ts = d.ts[:0]
}

// pass lets time go on, tick by tick of 100 ms.
func (d *desk) pass(long time.Duration) {
	for end := d.now.Add(long); d.now.Before(end); {
		d.now = d.now.Add(min(100*ms, end.Sub(d.now)))
		d.tick()
	}
}

// sounds is the pattern of the horn, proved by the pin: at each of its edges,
// and between them, the pin is as the pattern says. It takes 10 s.
func (d *desk) sounds(what string, want Pattern) {
	d.t.Helper()
	d.tick()
	if d.s.horn.Pattern != want {
		d.t.Errorf("%s: at %v the horn has %+v, want %+v", what, d.now.Sub(begin), d.s.horn.Pattern, want)
		return
	}
	began := d.s.horn.since
	for end := d.now.Add(10 * time.Second); d.now.Before(end); d.pass(50 * ms) {
		if on, _ := want.At(d.now.Sub(began)); d.horn.on() != on {
			d.t.Errorf("%s: %v into %+v the pin is %v", what, d.now.Sub(began), want, d.horn.on())
			return
		}
	}
}

// quiet proves that the horn keeps quiet for a time.
func (d *desk) quiet(what string, long time.Duration) {
	d.t.Helper()
	for end := d.now.Add(long); d.now.Before(end); {
		d.pass(50 * ms)
		if d.horn.on() {
			d.t.Errorf("%s: the horn is on at %v", what, d.now.Sub(begin))
			return
		}
	}
}

// chirps counts the pulses of the horn over a time, and proves that each is a
// chirp: seen for 150 ms at a grid of 50 ms.
func (d *desk) chirps(long time.Duration) (n int) {
	d.t.Helper()
	var began time.Time
	d.tick()
	was := false
	for end := d.now.Add(long); ; d.pass(50 * ms) {
		switch on := d.horn.on(); {
		case on && !was:
			n, began, was = n+1, d.now, true
		case !on && was:
			if long := d.now.Sub(began); long != 150*ms {
				d.t.Errorf("a chirp of %v", long)
			}
			was = false
		}
		if !d.now.Before(end) {
			return n
		}
	}
}
