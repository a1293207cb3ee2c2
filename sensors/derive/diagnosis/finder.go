package diagnosis

import (
	"cmp"
	"math"
	"slices"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Inputs are the readings of a tick; nil is not fitted.
type Inputs struct {
	WallNear, WallFar   *sensors.Reading // degC, beside the nozzle and opposite
	GasOut              *sensors.Reading // degC, as it leaves the reactor
	FilterIn, FilterOut *sensors.Reading // degC
	ReturnLine          *sensors.Reading // degC, of the exhaust on its way back
	Suction, FilterDrop *sensors.Reading // Pa
	CO                  *sensors.Reading // ppm, where the operator stands
	Speed               *sensors.Reading // rpm
	AirTemp             *sensors.Reading // degC
	GasFlow             *sensors.Reading // Nm3/h; only of a meter of its own: one that is reckoned from suction, drop or speed says nothing new
	FilterLoading       *sensors.Reading // percent; nil: reckoned from the cleanest this rig has seen
	DewMargin           *sensors.Reading // K, filter inlet less dew point
	CharcoalLeft        *sensors.Reading // kg
}

type input uint8

const (
	inNear input = iota
	inFar
	inGasOut
	inFilterIn
	inFilterOut
	inReturn
	inSuction
	inDrop
	inCO
	inSpeed
	inAir
	inFlow
	inLoading
	inDew
	inCharcoal
	inputs
)

func (in *Inputs) all() [inputs]*sensors.Reading {
	return [inputs]*sensors.Reading{in.WallNear, in.WallFar, in.GasOut, in.FilterIn, in.FilterOut, in.ReturnLine,
		in.Suction, in.FilterDrop, in.CO, in.Speed, in.AirTemp, in.GasFlow, in.FilterLoading, in.DewMargin, in.CharcoalLeft}
}

// smooth is the time in which the odds follow the evidence, s: a gust names
// nothing.
const smooth = 20.0

// Finder ranks what may be wrong. One goroutine owns it.
type Finder struct {
	ref    Reference
	signs  Signs
	speech speech
	last   Signs // as last known in this run

	in     [inputs]gauge
	events events
	resist past
	flow   past
	gas    past
	lagged [signs]slow
	mean   slow
	lost   float64 // flow that suction does not tell of, ln
	unrest slow

	begun   bool    // the filter of this run was taken
	ran     bool    // the engine ran since the fire was lit
	idle    float64 // s for which nothing was learned
	phase   phase.Phase
	lasted  float64   // s in this phase, stopping and sealed as one
	ticked  time.Time // of the last second
	oddFrom time.Time // of one temperature against the others

	odds   [causes]float64 // ln against a rig without fault, smoothed
	chance [causes]float64
	well   float64
	since  [causes]time.Time // possible since
	sure   [causes]float64   // s for which it has been nearly certain but for this
}

// New returns a Finder that knows nothing of its rig yet.
func New() *Finder {
	f := &Finder{}
	f.ref.anew()
	f.rest()
	return f
}

func (f *Finder) rest() {
	f.signs, f.last = unknownSigns(), unknownSigns()
	f.well = 1
	for c := range f.odds {
		f.odds[c] = unlikely(Cause(c))
		f.since[c], f.chance[c], f.sure[c] = time.Time{}, 0, 0
	}
}

// Keep returns the reference for the next run.
func (f *Finder) Keep() Kept { return f.ref.Keep() }

// Restore takes the reference of an earlier run, before the first Step.
func (f *Finder) Restore(k Kept) { f.ref.Restore(k) }

// Step takes a tick's readings. It looks at them once a second, except for
// spikes of suction, and allocates nothing. Missing readings end no finding
// that rests on them.
func (f *Finder) Step(now time.Time, in Inputs, p phase.Phase) {
	for i, r := range in.all() {
		f.in[i].see(now, r)
	}
	turning := p == phase.Running && !f.runsDown()
	if r := in.Suction; turning && r != nil && r.Status == sensors.Good {
		f.events.tick(now, r.Value)
	}
	dt := now.Sub(f.ticked).Seconds()
	switch {
	case f.ticked.IsZero() || dt < 0:
		f.ticked = now
		return
	case dt < 0.95:
		return
	}
	f.ticked = now
	dt = min(dt, 5)
	f.enter(p, dt)
	for i := range f.in {
		f.in[i].settle(now, dt)
	}
	f.events.second(now, dt, &f.in[inSuction], f.lost, turning)
	f.observe(now, dt, p, f.healthy(p))
	f.rank(now, dt, p)
}

// enter follows the phase.
func (f *Finder) enter(p phase.Phase, dt float64) {
	f.lasted += dt
	if p == f.phase {
		return
	}
	stopped := f.phase == phase.Stopping && p == phase.Sealed
	if !stopped {
		f.lasted = 0
		f.lagged, f.mean, f.unrest = [signs]slow{}, slow{}, slow{}
		f.resist, f.flow, f.gas = past{}, past{}, past{}
		f.events.stop()
		f.forget()
	}
	switch p {
	case phase.Running, phase.Warming:
		f.ran = true
	case phase.Cold, phase.Lighting: // another fire
		f.ran, f.begun = false, false
		if f.phase != phase.Lighting {
			f.ref.level = [signs]float64{}
			f.rest()
		}
	}
	f.phase = p
}

// forget drops at the end of a phase what was not likely: only that goes on
// without readings.
func (f *Finder) forget() {
	for c := range causes {
		if f.chance[c] < likely || abouts[c].normal {
			f.odds[c] = unlikely(c)
		}
	}
}

// unlikely is where the odds of a cause begin.
func unlikely(c Cause) float64 { return signatures[c].prior - health - 2 }

// healthy says whether the rig may be learned from: nothing is above possible,
// no sign is far off and no input is bad.
func (f *Finder) healthy(p phase.Phase) bool {
	for i := range f.in {
		if f.in[i].bad {
			return false
		}
	}
	if f.off() > 0 {
		return false
	}
	for c := range f.chance {
		if f.chance[c] >= likely && !abouts[c].normal {
			return false
		}
	}
	return p == phase.Running || p == phase.Stopping || p == phase.Sealed
}

// rank moves the odds after the evidence and takes the chances from them.
func (f *Finder) rank(now time.Time, dt float64, p phase.Phase) {
	top, sum := 0.0, 0.0
	f.speech.hear(&f.signs)
	for c := range causes {
		if f.told(c, p) {
			f.odds[c] += (max(-12, min(f.speech.odds(c), 25)) - f.odds[c]) * min(1, dt/smooth)
		}
		top = max(top, f.odds[c])
	}
	sum = math.Exp(-top)
	for c := range causes {
		sum += math.Exp(f.odds[c] - top)
	}
	f.well = math.Exp(-top) / sum
	for c := range causes {
		f.chance[c] = f.certainty(c, math.Exp(f.odds[c]-top)/sum, dt)
		switch {
		case f.chance[c] < possible:
			f.since[c] = time.Time{}
		case f.since[c].IsZero():
			f.since[c] = now
		}
	}
}

// told reports whether the readings of a phase say anything of a cause: some
// clue that moves under it is known. Without one the odds stay.
func (f *Finder) told(c Cause, p phase.Phase) bool {
	g := &signatures[c]
	if g.stands != atRest(p) {
		return false
	}
	for _, k := range g.clues {
		if k.want != steady && k.weight > 0 && f.signs[k.sign].known() {
			return true
		}
	}
	return false
}

// basis is the signs that a cause rests on: the last known ones where those of
// now say nothing of it.
func (f *Finder) basis(c Cause) *Signs {
	if f.told(c, f.phase) {
		return &f.signs
	}
	return &f.last
}

// sealedFor is how long a rig stands, s, before its cooling tells anything for
// certain.
const sealedFor = 900.0

// twins are causes of which these readings never rule out another: a valve left
// open is the same hole as a bad gasket, and a leak on the cold side shows by its
// backfires only. None of them is ever nearly certain.
var twins = [causes]bool{SealLeak: true, ReturnLeftOpen: true, Backfire: true, LeakCold: true}

// certainty bounds the chance of a cause: a sign that denies it leaves it
// possible, and to be nearly certain takes two signs that moved as they should,
// or one that little else moves and a minute of it.
func (f *Finder) certainty(c Cause, chance, dt float64) float64 {
	denied, decided, witnesses := judge(c, f.basis(c))
	switch {
	case witnesses == 0 || denied:
		f.sure[c] = 0
		return min(chance, likely-0.01)
	case twins[c] || witnesses < 2 && !decided || chance < nearly || signatures[c].stands && f.lasted < sealedFor:
		f.sure[c] = 0
		return min(chance, nearly-0.01)
	}
	f.sure[c] += dt
	if f.sure[c] < 60 {
		return min(chance, nearly-0.01)
	}
	return chance
}

// Findings appends what may be wrong, or is normal and shows, the most certain
// first; among equals in words a danger first. See Verdict for what it means
// when there is none.
func (f *Finder) Findings(into []Finding) []Finding {
	from := len(into)
	for c := range causes {
		if f.chance[c] < possible {
			continue
		}
		g := Finding{Cause: c, Certainty: f.chance[c], First: c.First(), Since: f.since[c]}
		g.For, g.Against = evidence(c, f.basis(c))
		into = append(into, g)
	}
	slices.SortStableFunc(into[from:], func(a, b Finding) int {
		return cmp.Or(
			-cmp.Compare(a.Word(), b.Word()),
			-cmp.Compare(rankDanger(a.Cause), rankDanger(b.Cause)),
			-cmp.Compare(a.Certainty, b.Certainty))
	})
	return into
}

func rankDanger(c Cause) int {
	if c.Danger() {
		return 1
	}
	return 0
}

// off is how many signs are far off that no load makes so.
func (f *Finder) off() (n int) {
	for s := range signs {
		switch s {
		case Step, Low, Hunting, GasRate:
		default:
			if math.Abs(f.signs[s].z) > far {
				n++
			}
		}
	}
	return n
}

// far is how many spreads off nothing is that is well.
const far = 3.5

// Verdict sums up the findings.
func (f *Finder) Verdict() Verdict {
	best := 0.0
	for c := range causes {
		if !abouts[c].normal {
			best = max(best, f.chance[c])
		}
	}
	known := 0
	for s := range signs {
		if f.signs[s].known() {
			known++
		}
	}
	switch {
	case best >= likely:
		return Named
	case f.off() > 0 || f.well < 0.3:
		return Unclear
	case known < 5:
		return NotEnough
	}
	return Nothing
}
