package cooldown

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
)

// HoldChannel is the name of the channel of a HoldTest.
const HoldChannel = "hold_leak"

// Of a hold test: own choices, no source.
const (
	HoldStart = 100.0           // Pa of suction, or of pressure, to begin with
	holdEnd   = 20.0            // Pa at which it has told all
	holdLast  = 5 * time.Minute // and how long it takes at most
	holdLeast = 20 * time.Second
	holdAt    = 200.0 // Pa that the leak is given at
	holdGood  = 1.5   // times the best that counts as tight
	holdFirst = 100.0 // Pa/min that counts as tight where no best is known
)

// Why a hold test does not begin or end well.
var (
	ErrHoldRuns  = errors.New("cooldown: a hold test runs already")
	ErrHoldStart = fmt.Errorf("cooldown: less than %g Pa of suction or pressure: draw with the blower, shut everything, then begin", HoldStart)
	errHoldShort = fmt.Errorf("cooldown: less than %v of readings: begin anew", holdLeast)
	errHoldNever = errors.New("cooldown: no hold test was made: charwarden holdtest")
)

// HoldTest follows the suction of a rig with everything shut and nothing that
// draws: what is lost tells all seals at once, lid, doors, valves, hoses. The
// law is that of a vessel that leaks through small gaps, S = S0 exp(-t/T); the
// leak is given at 200 Pa, so that tests from any start compare. Pressure from
// the blower does as well.
//
// One goroutine owns it.
type HoldTest struct {
	Running bool
	Begun   float64 // Pa at the start
	Now     float64 // Pa
	Leak    float64 // Pa/min at 200 Pa of the last test; NaN: none
	Best    float64 // of this rig; 0: none
	Tight   bool
	Ended   time.Time // of the last test with a result; zero: none
	Ran     bool      // the rig has run since, so that its lid may have been opened

	began time.Time
	fit   line
	err   error
	at    time.Time
}

// NewHold returns a test that was never made.
func NewHold() *HoldTest { return &HoldTest{Leak: math.NaN(), err: errHoldNever} }

// Start begins a test.
func (h *HoldTest) Start(now time.Time, suction *sensors.Reading) error {
	switch {
	case h.Running:
		return ErrHoldRuns
	case suction == nil || suction.Status != sensors.Good:
		return fmt.Errorf("cooldown: suction: no good value")
	case math.Abs(suction.Value) < HoldStart:
		return ErrHoldStart
	}
	h.Running, h.Begun, h.Now, h.began, h.at = true, suction.Value, suction.Value, now, now
	h.fit, h.Leak, h.Tight, h.err = line{}, math.NaN(), false, errHoldShort
	h.Ended, h.Ran = time.Time{}, false
	return nil
}

// Step takes the suction of a tick; the test ends by itself.
func (h *HoldTest) Step(now time.Time, suction *sensors.Reading) {
	if !h.Running || suction == nil {
		return
	}
	if suction.Status == sensors.Good {
		h.Now = suction.Value
		if s := h.Now * math.Copysign(1, h.Begun); s >= holdEnd {
			h.fit.add(now.Sub(h.began).Seconds(), math.Log(s))
			h.at = now
		}
	}
	if d := now.Sub(h.began); d < 0 || d >= holdLast || h.Now*math.Copysign(1, h.Begun) < holdEnd {
		h.End()
	}
}

// End ends a test and judges it against the rig's best, which it may become.
func (h *HoldTest) End() {
	if !h.Running {
		return
	}
	h.Running = false
	b, _ := h.fit.slope()
	if math.IsNaN(b) || h.at.Sub(h.began) < holdLeast && h.Now > holdEnd {
		return
	}
	h.Leak, h.err, h.Ended = holdAt*60*max(0, -b), nil, h.at
	h.Tight = h.Leak <= holdFirst && h.Best == 0 || h.Best > 0 && h.Leak <= max(holdGood*h.Best, 5)
	if h.Tight && (h.Best == 0 || h.Leak < h.Best) {
		h.Best = max(h.Leak, 1) // below 1 Pa/min is the sensor's own drift
	}
}

// Verdict is the last test in words.
func (h *HoldTest) Verdict() string {
	switch {
	case h.Running:
		return "The hold test runs: touch nothing."
	case h.err != nil:
		return "No result: " + h.err.Error() + "."
	case h.Tight:
		return fmt.Sprintf("Tight: it loses %.0f Pa a minute at 200 Pa; this rig's best is %.0f.", h.Leak, h.Best)
	case h.Best > 0:
		return fmt.Sprintf("LEAKS: it loses %.0f Pa a minute at 200 Pa; this rig's best is %.0f. Find the leak with soap water before the fire.", h.Leak, h.Best)
	}
	return fmt.Sprintf("LEAKS: it loses %.0f Pa a minute at 200 Pa. Find the leak with soap water before the fire.", h.Leak)
}

// Reading is the leak of the last test in Pa/min at 200 Pa; Unknown while there
// is none.
func (h *HoldTest) Reading(now time.Time) sensors.Reading {
	if h.err != nil || h.Running {
		why := h.err
		if why == nil {
			why = errHoldShort
		}
		return sensors.Bad(HoldChannel, now, sensors.Unknown, why)
	}
	return sensors.Reading{Channel: HoldChannel, At: now, Value: h.Leak, Raw: h.Leak, Uncertainty: 0.1 * h.Leak, Cold: math.NaN(), Status: sensors.Good}
}
