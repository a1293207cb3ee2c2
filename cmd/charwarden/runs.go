package main

import (
	"errors"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors/derive/phase"
)

// runs tells runs apart: one begins with the fire and ends with a cold rig, or
// as a person says.
type runs struct {
	on    bool
	ended bool // by a person: the phase begins none before the rig is cold or sealed
	was   phase.Phase
	marks []runlog.RunMark // since the last step, for the run log
}

var (
	errOn  = errors.New("a run is under way: `charwarden runs stop` ends it")
	errOff = errors.New("no run is under way")
)

func (r *runs) mark(ends bool, by string) {
	r.on = !ends
	r.marks = append(r.marks, runlog.RunMark{Ends: ends, By: by})
}

func (r *runs) begin(person string) error {
	if r.on {
		return errOn
	}
	r.mark(false, person)
	return nil
}

func (r *runs) end(person string) error {
	if !r.on {
		return errOff
	}
	r.mark(true, person)
	r.ended = true
	return nil
}

// byPhase is who began a run that nobody asked for.
const byPhase = "phase"

func (r *runs) step(ph phase.Phase) {
	was := r.was
	r.was = ph
	if ph == was {
		return
	}
	fire := ph == phase.Lighting || ph == phase.Warming || ph == phase.Running
	switch {
	case ph == phase.Cold || ph == phase.Sealed:
		r.ended = false
		if r.on && ph == phase.Cold && was != phase.Unknown {
			r.mark(true, byPhase)
		}
	case r.on && ph == phase.Lighting && was == phase.Sealed: // lit again before it was cold
		r.mark(true, byPhase)
		r.mark(false, byPhase)
	case fire && !r.on && !r.ended:
		r.mark(false, byPhase)
	}
}
