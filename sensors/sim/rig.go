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
	quantities
)

type frame [quantities]float64

// Rig is a charcoal gasifier with a small petrol engine on an irrigation pump,
// as physics: heat balances of hearth, walls and pipes, an engine with a
// governor that sets the flow of gas, suction and drop from that flow. It
// follows its plan in steps of 0.25 s, up to the time that it is asked for, and
// goes on cooling after the plan's end. Sizes and constants are invented and
// set to give what rigs of this size show.
//
// All methods may be called from any goroutine. The same seed, plan and faults
// give the same numbers whatever was asked before. Times before the start are
// the start; times more than 2 h 16 min before the latest one that was asked
// for are 2 h 16 min before it.
type Rig struct {
	start time.Time

	mu      sync.Mutex
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
	r := &Rig{start: start, acts: slices.Clone(plan.Acts), past: make([]frame, rigPast)}
	slices.SortStableFunc(r.acts, func(a, b Act) int { return cmp.Compare(a.At, b.At) })
	r.machine = newMachine(rand.New(rand.NewPCG(seed, 0x726967)), plan)
	r.past[0] = r.machine.show()
	return r
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

// WallNear is the shell beside the nozzle, degC.
func (r *Rig) WallNear(t time.Time) float64 { return r.at(t, qWallNear) }

// WallFar is the shell opposite the nozzle, degC.
func (r *Rig) WallFar(t time.Time) float64 { return r.at(t, qWallFar) }

// GasOut is the gas as it leaves the reactor, degC.
func (r *Rig) GasOut(t time.Time) float64 { return r.at(t, qGasOut) }

// FilterIn is the gas behind the cooler, degC.
func (r *Rig) FilterIn(t time.Time) float64 { return r.at(t, qFilterIn) }

// FilterOut is the gas behind the filter, degC.
func (r *Rig) FilterOut(t time.Time) float64 { return r.at(t, qFilterOut) }

// ReturnLine is the exhaust on its way back to the nozzle, degC.
func (r *Rig) ReturnLine(t time.Time) float64 { return r.at(t, qReturnLine) }

// Suction is how far the reactor's outlet is below the air, Pa; a little
// negative when the sealed bed makes gas.
func (r *Rig) Suction(t time.Time) float64 { return r.at(t, qSuction) }

// FilterDrop is the pressure that the filter takes, Pa.
func (r *Rig) FilterDrop(t time.Time) float64 { return r.at(t, qFilterDrop) }

// CO is the carbon monoxide where the operator stands, ppm.
func (r *Rig) CO(t time.Time) float64 { return r.at(t, qCO) }

// Speed of the engine, rpm.
func (r *Rig) Speed(t time.Time) float64 { return r.at(t, qSpeed) }

// Supply is the 12 V battery that the starter, the blower and the board share, V.
func (r *Rig) Supply(t time.Time) float64 { return r.at(t, qSupply) }

// AirTemp is the air around the rig, degC.
func (r *Rig) AirTemp(t time.Time) float64 { return r.at(t, qAirTemp) }

// AirPressure is the air's absolute pressure, Pa.
func (r *Rig) AirPressure(t time.Time) float64 { return r.at(t, qAirPressure) }

// AirHumidity is the air's relative humidity, 0..1.
func (r *Rig) AirHumidity(t time.Time) float64 { return r.at(t, qAirHumidity) }

// CharcoalLeft is what the hopper and the bed hold, kg.
func (r *Rig) CharcoalLeft(t time.Time) float64 { return r.at(t, qCharcoal) }

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
