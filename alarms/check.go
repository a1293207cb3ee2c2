package alarms

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"charwarden/sensors"
)

// index gives the place of every channel by its name.
func index(channels []sensors.Channel) (map[string]int, error) {
	places := make(map[string]int, len(channels))
	var errs []error
	for i, c := range channels {
		if c.Name == "" {
			errs = append(errs, fmt.Errorf("alarms: channel %d: name: empty", i+1))
			continue
		}
		if _, twice := places[c.Name]; twice {
			errs = append(errs, fmt.Errorf("alarms: channel %s: name: used twice", c.Name))
			continue
		}
		places[c.Name] = i
	}
	return places, errors.Join(errs...)
}

// check returns everything that is wrong with the rule by itself.
func (r *Rule) check() (errs []error) {
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }

	what, ok := strings.CutPrefix(r.Name, r.Channel+"_")
	switch {
	case r.Name == "":
		bad("name: empty")
	case !ok || what == "":
		bad("name: must be the channel's name, an underscore and a word (%s_...)", r.Channel)
	case strings.ContainsFunc(r.Name, foreign):
		bad("name: only a-z, 0-9 and _ are allowed")
	}
	if r.Kind >= kinds {
		bad("kind: %v: no such kind", r.Kind)
	}
	if r.Priority >= priorities {
		bad("priority: %v: no such priority", r.Priority)
	}
	switch {
	case r.Kind.Limited():
		if !finite(r.Limit) {
			bad("limit: %v: must be a finite number", r.Limit)
		}
		if !finite(r.Deadband) || r.Deadband < 0 {
			bad("deadband: %v: must be 0 or a positive number", r.Deadband)
		}
	case r.Kind < kinds && (r.Limit != 0 || r.Deadband != 0):
		bad("limit, deadband: kind %v has none", r.Kind)
	}
	if r.Kind.compares() == (r.Other == "") || r.Other == r.Channel && r.Other != "" {
		bad("other: %q: kinds deviation, exceeds and frozen need another channel, the rest has none", r.Other)
	}
	if r.Kind.windowed() != (r.Window > 0) {
		bad("window: %v: kinds rate, projected, slow_fall and frozen need one, the rest has none", r.Window)
	}
	if (r.Kind == Projected) != (r.Within > 0) {
		bad("within: %v: kind projected needs it, the rest has none", r.Within)
	}
	if (r.Kind == Frozen) != (r.OtherMoved > 0) || !finite(r.OtherMoved) {
		bad("other moved: %v: kind frozen needs it, the rest has none", r.OtherMoved)
	}
	if r.Cause != "" && r.Kind != Fault {
		bad("cause: only kind fault has one")
	}
	for _, w := range r.While {
		for _, err := range w.check() {
			bad("while: %w", err)
		}
	}
	for _, d := range []struct {
		what string
		time.Duration
	}{{"on-delay", r.OnDelay}, {"off-delay", r.OffDelay}, {"re-alarm", r.ReAlarm}} {
		if d.Duration < 0 {
			bad("%s: %v: must be 0 or longer", d.what, d.Duration)
		}
	}
	// An acknowledgement may come from a phone; a run permit may not.
	if r.Stops && !r.Latch {
		bad("stops: needs latch, so that the run permit comes back only by a reset at the rig")
	}
	if r.Priority == Evacuate && !(r.Latch && r.Never) {
		bad("priority: evacuate needs latch and never")
	}
	if r.Never && len(r.While) > 0 {
		bad("while: %w", ErrNever)
	}
	if r.Hazard > Fire {
		bad("hazard: %d: no such hazard", r.Hazard)
	}
	// ISA-18.2: an alarm requires a response; without one it is none.
	if r.Means == "" {
		bad("means: empty: say what it means")
	}
	if r.DoFirst == "" {
		bad("do first: empty: say what to do first")
	}
	return errs
}

// check returns what is wrong with w by itself.
func (w *While) check() (errs []error) {
	if len(w.Phases) > 0 {
		if w.Channel != "" || w.Kind != 0 || w.Limit != 0 || w.Deadband != 0 {
			errs = append(errs, errors.New("phases or a channel, not both"))
		}
		return errs
	}
	switch {
	case w.Channel == "":
		errs = append(errs, errors.New("phases or a channel are wanted"))
	case w.Kind != Above && w.Kind != Below:
		errs = append(errs, fmt.Errorf("kind %v: only above and below can hold", w.Kind))
	case !finite(w.Limit) || !finite(w.Deadband) || w.Deadband < 0:
		errs = append(errs, fmt.Errorf("limit %v, deadband %v: must be finite, deadband 0 or more", w.Limit, w.Deadband))
	}
	return errs
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// foreign reports a rune that an MQTT topic or the words of a command line
// could not carry as part of a name.
func foreign(c rune) bool {
	return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '_'
}
