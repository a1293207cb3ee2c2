package phase

import (
	"time"

	"charwarden/sensors"
)

// Inputs are the readings that tell the phase, by what they are of. Nil is a
// sensor that is not fitted; one that is fitted and not good is unknown.
type Inputs struct {
	Speed   *sensors.Reading   // of the engine, rpm
	Walls   []*sensors.Reading // of the reactor, degC
	GasOut  *sensors.Reading   // the gas that leaves it, degC
	Suction *sensors.Reading   // how far it is below the air, Pa
}

// Finder tells the phase from one tick to the next. What is unknown makes no
// change that would need it; with nothing known the phase stays.
//
//	from              to        when
//	cold              lighting  something draws, or a place gets warm
//	cold, lighting    warming   the engine turns
//	warming           running   it has turned for WarmUp and the hearth is hot
//	warming, running  stopping  it stands; a running one that still pulls has only lost its pulses
//	warming           lighting  it stands and something draws: a start that failed
//	stopping          sealed    it has stood for Quiet, and no suction was seen in that time
//	lighting          sealed    suction is known to be still for GiveUp
//	stopping, sealed  lighting  something draws again
//	stopping, sealed  running   the engine turns again, the hearth is hot, and it ran before
//	stopping, sealed  warming   the engine turns again otherwise
//	any               cold      every place is cold and nothing turns or draws
//
// A rig without a tacho is taken to run when it is hot and pulls, and to stand
// when suction is still for Quiet; one without either runs when it is hot and
// stands when it is 20 degC below that, which is late. One without thermometers
// runs after WarmUp and is never cold again. A tacho that is fitted and has no
// value leaves it to suction to say that the engine stands.
//
// After New the phase is Cold and means nothing until Known.
type Finder struct {
	o Opts

	turns, stands, draws, still, warm, cold hold
	hot                                     fact
	pulled, drew                            mark // last seen to pull, last seen not still

	begun   bool
	start   time.Time // of the first step
	known   bool
	ran     bool // since the fire was lit
	phase   Phase
	changed time.Time

	forced bool
	force  Phase
	since  time.Time // of the phase that Step returned
}

// dwell is how long a phase lasts at least; cooled is how far below hot a rig
// is that is known by its temperatures alone and is no longer drawn.
const (
	dwell  = 5 * time.Second
	cooled = 20.0 // degC
)

// New returns a Finder, or says which two limits leave no band between them.
func New(o Opts) (*Finder, error) {
	o, err := o.filled()
	if err != nil {
		return nil, err
	}
	return &Finder{o: o}, nil
}

// Step looks at the readings of a tick and returns the phase: the forced one,
// if there is one. It does not allocate. Two inferred changes are never less
// than 5 s apart.
func (f *Finder) Step(now time.Time, in Inputs) Phase {
	if !f.begun {
		f.begun, f.start, f.since = true, now, now
	}
	before := f.shown()
	f.look(now, &in)
	var next Phase
	if f.known {
		next = f.next(now, &in)
	} else {
		next, f.known = f.first(now)
	}
	if next != f.phase && (f.changed.IsZero() || now.Sub(f.changed) >= dwell) {
		f.phase, f.changed = next, now
		f.ran = next == Running || f.ran && next != Cold && next != Lighting
	}
	if f.known && f.phase == f.force {
		f.forced = false
	}
	if f.shown() != before {
		f.since = now
	}
	return f.shown()
}

// Inferred returns what the readings say, forced or not.
func (f *Finder) Inferred() Phase { return f.phase }

// Known reports whether readings have yet said what the rig is doing. Until
// they have, the inferred phase is Cold and proves nothing.
func (f *Finder) Known() bool { return f.known }

// Since returns when the phase that Step returned began; zero before the first.
func (f *Finder) Since() time.Time { return f.since }

// Forced reports whether the phase is the operator's.
func (f *Finder) Forced() bool { return f.forced }

// Force makes Step return p until Auto, or until the readings agree with p.
func (f *Finder) Force(now time.Time, p Phase) {
	before := f.shown()
	f.force = p
	f.forced = !f.known || f.phase != p
	if f.shown() != before {
		f.since = now
	}
}

// Auto ends what Force began.
func (f *Finder) Auto(now time.Time) {
	if f.shown() != f.phase {
		f.since = now
	}
	f.forced = false
}

func (f *Finder) shown() Phase {
	if f.forced {
		return f.force
	}
	return f.phase
}

// look takes from the readings what each of them says.
func (f *Finder) look(now time.Time, in *Inputs) {
	f.hot = in.heat(f.o.HotWall, f.o.HotGas)
	f.warm.see(now, in.heat(f.o.Warm, f.o.Warm))
	f.cold.see(now, not(in.heat(f.o.Cold, f.o.Cold)))

	still := not(reached(in.Suction, f.o.Still))
	pulls := reached(in.Suction, f.o.Pulling)
	f.still.see(now, still)
	f.drew.see(now, not(still))
	f.draws.see(now, reached(in.Suction, f.o.Drawn))
	f.pulled.see(now, pulls)

	turns, stands := reached(in.Speed, f.o.Turning), not(reached(in.Speed, f.o.Standing))
	if stands == unknown { // no speed: what else there is
		if in.Speed == nil || !f.known && now.Sub(f.start) >= f.o.Quiet {
			turns, stands = both(pulls, f.hot), not(pulls)
			if in.Suction == nil {
				turns, stands = f.hot, not(in.heat(f.o.HotWall-cooled, f.o.HotGas-cooled))
			}
		}
		if in.Suction != nil && stands != no {
			stands = unknown
			if f.still.held(now, f.o.Quiet) {
				turns, stands = no, yes
			}
		}
	}
	f.turns.see(now, turns)
	f.stands.see(now, stands)
}

// first returns the phase of a rig of which nothing is known, and whether
// anything is.
func (f *Finder) first(now time.Time) (Phase, bool) {
	stands := f.stands.held(now, f.o.EngineFor)
	switch {
	case f.turns.held(now, f.o.EngineFor) && f.hot == yes:
		return Running, true
	case f.turns.held(now, f.o.EngineFor):
		return Warming, true
	case stands && f.draws.held(now, f.o.Settle):
		return Lighting, true
	case stands && f.warm.held(now, f.o.Settle):
		return Stopping, true
	case f.cold.held(now, f.o.Settle):
		return Cold, true
	}
	return Cold, false
}

// next returns the phase after f.phase.
func (f *Finder) next(now time.Time, in *Inputs) Phase {
	turns, stands := f.turns.held(now, f.o.EngineFor), f.stands.held(now, f.o.EngineFor)
	draws := f.draws.held(now, f.o.Settle)
	quiet := !f.drew.within(now, f.o.Quiet)
	cold := f.cold.held(now, f.o.Settle) && !f.turns.on && quiet
	lasted := now.Sub(f.changed)

	switch f.phase {
	case Cold:
		switch {
		case turns:
			return Warming
		case draws, f.warm.held(now, f.o.Settle):
			return Lighting
		}
	case Lighting:
		switch {
		case turns:
			return Warming
		case cold && (in.Suction == nil || f.still.held(now, f.o.Quiet)):
			return Cold
		case f.still.held(now, f.o.GiveUp) && !f.turns.on:
			return Sealed
		}
	case Warming:
		switch {
		case stands && f.draws.held(now, 0):
			return Lighting
		case stands:
			return Stopping
		case f.turns.held(now, 0) && lasted >= f.o.WarmUp && (f.hot == yes || !in.anyHeat()):
			return Running
		}
	case Running:
		if stands && !f.pulled.within(now, f.o.Settle) {
			return Stopping
		}
	case Stopping, Sealed:
		switch {
		case turns && f.ran && f.hot == yes:
			return Running
		case turns:
			return Warming
		case draws && !f.turns.on:
			return Lighting
		case cold:
			return Cold
		case f.phase == Stopping && stands && quiet && lasted >= f.o.Quiet:
			return Sealed
		}
	}
	return f.phase
}
