package phase

import (
	"fmt"
	"time"
)

// Opts are the limits by which a Finder tells the phases apart. Zero means the
// default. All defaults are common practice, no source, and set so that they
// tell the phases of a rig with a 3 to 16 hp engine apart.
type Opts struct {
	Turning  float64 // rpm; the engine turns at this or above: 300, above any hand's turning
	Standing float64 // rpm; it stands below this: 100

	Cold    float64 // degC; the rig is cold with every place below this: 60
	Warm    float64 // degC; a fire is lit when a place reaches this: 70, above what the sun does to dark steel
	HotWall float64 // degC; the hearth is at its heat when a wall reaches this: 200
	HotGas  float64 // degC; or when the gas that leaves it does: 250

	Still   float64 // Pa; nothing is drawn below this, nor against a pressure: 25, a zeroed sensor's error
	Drawn   float64 // Pa; something draws at this or above: 30
	Pulling float64 // Pa; an engine under way draws this or more: 100

	EngineFor time.Duration // speed is past its limit this long: 3 s
	Settle    time.Duration // suction and temperatures are past theirs this long: 10 s
	WarmUp    time.Duration // an engine started on a new fire warms at least this long: 2 min
	Quiet     time.Duration // nothing is drawn for this long: sealed: 2 min, longer than the lid is open to refuel
	GiveUp    time.Duration // a fire that is lit and not drawn for this long was given up: 10 min
}

// filled returns o with its defaults.
func (o Opts) filled() (Opts, error) {
	for _, v := range []struct {
		at *float64
		to float64
	}{
		{&o.Turning, 300}, {&o.Standing, 100},
		{&o.Cold, 60}, {&o.Warm, 70}, {&o.HotWall, 200}, {&o.HotGas, 250},
		{&o.Still, 25}, {&o.Drawn, 30}, {&o.Pulling, 100},
	} {
		if *v.at == 0 {
			*v.at = v.to
		}
	}
	for _, v := range []struct {
		at *time.Duration
		to time.Duration
	}{
		{&o.EngineFor, 3 * time.Second}, {&o.Settle, 10 * time.Second},
		{&o.WarmUp, 2 * time.Minute}, {&o.Quiet, 2 * time.Minute}, {&o.GiveUp, 10 * time.Minute},
	} {
		if *v.at == 0 {
			*v.at = v.to
		}
		if *v.at < 0 {
			return o, fmt.Errorf("phase: %v: a time cannot be negative", *v.at)
		}
	}
	for _, v := range []struct {
		low, high   float64
		lower, upto string
	}{
		{0, o.Standing, "0", "Standing"}, {o.Standing, o.Turning, "Standing", "Turning"},
		{o.Cold, o.Warm, "Cold", "Warm"}, {o.Warm, o.HotWall - cooled, "Warm", "HotWall less 20 degC"}, {o.Warm, o.HotGas - cooled, "Warm", "HotGas less 20 degC"},
		{0, o.Still, "0", "Still"}, {o.Still, o.Drawn, "Still", "Drawn"}, {o.Drawn, o.Pulling, "Drawn", "Pulling"},
	} {
		if !(v.low < v.high) {
			return o, fmt.Errorf("phase: %s %g is not below %s %g: leave a band between the two", v.lower, v.low, v.upto, v.high)
		}
	}
	return o, nil
}
