package sim

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"
)

const (
	rigStep  = 250 * time.Millisecond
	rigPast  = 1 << 15        // steps that can be looked back at: 2 h 16 min
	rigLimit = 48 * time.Hour // the model stands still after that
)

// The quantities of a frame.
const (
	qWallNear = iota
	qWallFar
	qGasOut
	qFilterIn
	qFilterOut
	qReturnLine
	qSuction
	qFilterDrop
	qCO
	qSpeed
	qSupply
	qAirTemp
	qAirPressure
	qAirHumidity
	qCharcoal
	qGasFlow
	qEngineFlow
	qFilterLoad
	qBedExit
	qStrength
	qReturnShare
	quantities
)

type frame [quantities]float64

// Rig is a charcoal gasifier with a small petrol engine on an irrigation pump,
// as physics: mole and heat balances of the hearth, heat of walls and pipes, an
// engine with a governor that sets the flow of gas, suction and drop from that
// flow by the laws of orifice, bed and filter. It follows its plan in steps of
// 0.25 s, up to the time that it is asked for, and goes on cooling after the
// plan's end. Sizes and constants are invented and set to give what rigs of this
// size show.
//
// All methods may be called from any goroutine. The same seed, plan and faults
// give the same numbers whatever was asked before. Times before the start are
// the start; times more than 2 h 16 min before the latest one that was asked
// for are 2 h 16 min before it.
type Rig struct {
	mu      sync.Mutex
	start   time.Time
	acts    []Act // still to come
	faults  []injection
	step    int64 // how many have been taken
	past    []frame
	events  []Event
	machine machine
}

type injection struct {
	at    time.Duration
	fault *fault
}

// NewRig returns a rig that starts its plan at start. The seed moves weather,
// fuel and the small differences between two runs.
func NewRig(start time.Time, plan Plan, seed uint64) *Rig {
	r := &Rig{past: make([]frame, rigPast)}
	r.Restart(start, plan, seed)
	return r
}

// Restart makes it a new rig, with nothing wrong, that starts a plan at start.
// What was before is forgotten.
func (r *Rig) Restart(start time.Time, plan Plan, seed uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.start, r.acts, r.faults, r.step, r.events = start, slices.Clone(plan.Acts), nil, 0, nil
	slices.SortStableFunc(r.acts, func(a, b Act) int { return cmp.Compare(a.At, b.At) })
	r.machine = newMachine(rand.New(rand.NewPCG(seed, 0x726967)), rand.New(rand.NewPCG(seed, 0x706f70)), plan)
	r.past[0] = r.machine.show()
}

// Inject lets a fault of FaultNames begin at a rig time; one that has passed
// counts as now.
func (r *Rig) Inject(name string, at time.Duration) error {
	i := slices.IndexFunc(faults, func(f fault) bool { return f.Name == name })
	if i < 0 {
		return fmt.Errorf("rig: fault %q: unknown (allowed: %v)", name, names())
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.faults = append(r.faults, injection{at, &faults[i]})
	return nil
}

// Happening returns what the operator and the rig have done up to t, in order.
func (r *Rig) Happening(t time.Time) []Event {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.advance(t.Sub(r.start))
	n := slices.IndexFunc(r.events, func(e Event) bool { return e.At > t.Sub(r.start) })
	if n < 0 {
		n = len(r.events)
	}
	return slices.Clone(r.events[:n])
}

// at returns a quantity between the two steps around t.
func (r *Rig) at(t time.Time, q int) float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := min(max(t.Sub(r.start), 0), rigLimit)
	r.advance(d)
	oldest := max(0, r.step-rigPast+1)
	n := int64(d / rigStep)
	if n < oldest {
		return r.past[oldest%rigPast][q]
	}
	a, b := r.past[n%rigPast][q], r.past[min(n+1, r.step)%rigPast][q]
	return a + (b-a)*float64(d%rigStep)/float64(rigStep)
}

// advance takes the steps up to the first one after d. Needs r.mu.
func (r *Rig) advance(d time.Duration) {
	for last := int64(min(d, rigLimit)/rigStep) + 1; d >= 0 && r.step < last; {
		now := time.Duration(r.step) * rigStep
		for len(r.acts) > 0 && r.acts[0].At <= now {
			r.tell(r.acts[0].At, r.acts[0].Text)
			r.machine.do(r.acts[0])
			r.acts = r.acts[1:]
		}
		r.faults = slices.DeleteFunc(r.faults, func(i injection) bool {
			if i.at > now {
				return false
			}
			r.tell(now, i.fault.told)
			i.fault.begin(&r.machine)
			return true
		})
		if text := r.machine.move(rigStep.Seconds()); text != "" {
			r.tell(now, text)
		}
		r.step++
		r.past[r.step%rigPast] = r.machine.show()
	}
}

func (r *Rig) tell(at time.Duration, text string) {
	if text != "" {
		r.events = append(r.events, Event{at, text})
	}
}
