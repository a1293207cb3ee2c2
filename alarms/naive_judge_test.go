package alarms

import (
	"math"
	"slices"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// sample is what one step hands over.
type sample struct {
	at       time.Time
	phase    phase.Phase
	readings [3]sensors.Reading // pump, well, gate
}

func (s *sample) of(channel string) *sensors.Reading {
	for i := range s.readings {
		if s.readings[i].Channel == channel {
			return &s.readings[i]
		}
	}
	return nil
}

// look is one sample as one naive alarm sees it.
type look struct {
	*sample
	says   says
	figure float64       // that it was judged by; NaN = none
	proved bool          // the condition, by this sample and those before
	passed time.Duration // since the one before
	muted  bool          // it was suppressed when the sample came
}

// says is what one sample says by itself about the condition.
type says int

const (
	silent     says = iota
	proves          // it is there
	disproves       // it is gone
	holds           // it is what it was
	holdsThere      // it is still there if it was; else nothing
	holdsGone       // it is still gone if it was; else nothing
)

func number(x *sensors.Reading) bool {
	return x.Status == sensors.Good && math.Abs(x.Value) <= math.MaxFloat64
}

// proves is the newest word on the condition up to sample i. What was muted
// and says nothing is as good as gone.
func (n *naive) proves(i int) bool {
	for ; i >= 0; i-- {
		switch l := &n.past[i]; l.says {
		case proves:
			return true
		case disproves:
			return false
		case silent, holdsGone:
			if l.muted {
				return false
			}
		}
	}
	return n.before
}

// gone says that sample i itself proves the condition gone, or holds it so.
func (n *naive) gone(i int) bool {
	switch l := &n.past[i]; l.says {
	case disproves:
		return true
	case holds:
		return !l.proved
	case holdsGone:
		if i > 0 {
			return !n.past[i-1].proved
		}
		return !n.before
	}
	return false
}

// side holds v against the limit; down mirrors it.
func (n *naive) side(v float64) says {
	sign := 1.0
	if n.Kind == Below || n.Kind == SlowFall || n.Kind == Frozen {
		sign = -1
	}
	switch {
	case sign*v >= sign*n.Limit:
		return proves
	case sign*v <= sign*n.Limit-n.Deadband:
		return disproves
	}
	return holds
}

// only drops the words that a reading with a bound to one side cannot say.
func (s says) only(there bool) says {
	switch {
	case s == holds && there:
		return holdsThere
	case s == holds:
		return holdsGone
	case s == disproves && there, s == proves && !there:
		return silent
	}
	return s
}

func (n *naive) judge(i int) (says, float64) {
	none := math.NaN()
	x := n.past[i].of(n.Channel)
	v := x.Value
	switch n.Kind {
	case Fault:
		switch {
		case number(x):
			return disproves, v
		case x.Status == sensors.Unzeroed:
			return disproves, none
		}
		return proves, none
	case Zeroing:
		switch {
		case number(x):
			return disproves, v
		case x.Status == sensors.Unzeroed:
			return proves, none
		}
		return silent, none
	case Above, Projected:
		if x.Status == sensors.ClippedHigh {
			return proves, v
		}
	case Below:
		if x.Status == sensors.ClippedLow {
			return proves, v
		}
	case Deviation, Exceeds, Frozen:
		if !number(n.past[i].of(n.Other)) {
			return silent, none
		}
	}
	if n.Kind == Deviation || n.Kind == Exceeds {
		d := v - n.past[i].of(n.Other).Value
		if n.Kind == Deviation {
			d = max(d, -d)
		}
		if number(x) {
			return n.side(d), d
		}
		if x.Status != sensors.ClippedHigh || math.IsNaN(d) || math.IsInf(d, 0) {
			return silent, none
		}
		s := n.side(d).only(true)
		if s == silent || s == holdsThere && !(i > 0 && n.past[i-1].proved || i == 0 && n.before) {
			return s, none
		}
		return s, d
	}
	if !number(x) {
		return silent, none
	}
	s := n.side(v)
	switch n.Kind {
	case Above:
		if x.AtLeast {
			s = s.only(true)
		}
		return s, v
	case Below:
		if x.AtLeast {
			s = s.only(false)
		}
		return s, v
	}
	return n.judgeWindow(i)
}

// judgeWindow looks back over the window, at one sample in a 32nd of it.
func (n *naive) judgeWindow(i int) (says, float64) {
	now, v := n.past[i].at, n.past[i].of(n.Channel).Value
	if k := len(n.noted); k > 0 {
		gap := now.Sub(n.past[n.noted[k-1]].at)
		if gap < 0 || gap > 3*time.Second && gap > n.Window/8 {
			n.noted = nil
		}
	}
	if k := len(n.noted); k == 0 || now.Sub(n.past[n.noted[k-1]].at) >= n.Window/32 {
		n.noted = append(n.noted, i)
	}
	last := n.past[n.noted[len(n.noted)-1]].at
	first := max(0, len(n.noted)-33)
	for j := first; j < len(n.noted); j++ {
		if last.Sub(n.past[n.noted[j]].at) >= n.Window {
			first = j
		}
	}
	in := n.noted[first:]
	full := len(in) > 1 && now.Sub(n.past[in[0]].at) >= n.Window-n.Window/32
	if n.Kind == Projected {
		if !full {
			return n.side(v).only(true), v
		}
		return n.side(v + max(0, n.slope(in))*n.Within.Seconds()), v
	}
	if !full {
		return silent, math.NaN()
	}
	switch n.Kind {
	case Rate:
		perMinute := n.slope(in) * 60
		return n.side(perMinute), perMinute
	case SlowFall:
		fall := n.past[in[0]].of(n.Channel).Value - v
		return n.side(fall), fall
	}
	own, other := n.span(in, n.Channel), n.span(in, n.Other)
	s := n.side(own)
	if other < n.OtherMoved {
		s = s.only(false)
	}
	return s, own
}

// slope is the regression over the means, per second.
func (n *naive) slope(in []int) float64 {
	var mt, mv, num, den float64
	now := n.past[in[len(in)-1]].at
	for _, i := range in {
		mt += n.past[i].at.Sub(now).Seconds() / float64(len(in))
		mv += n.past[i].of(n.Channel).Value / float64(len(in))
	}
	for _, i := range in {
		t := n.past[i].at.Sub(now).Seconds() - mt
		num += t * (n.past[i].of(n.Channel).Value - mv)
		den += t * t
	}
	return num / den
}

func (n *naive) span(in []int, channel string) float64 {
	var all []float64
	for _, i := range in {
		all = append(all, n.past[i].of(channel).Value)
	}
	return slices.Max(all) - slices.Min(all)
}

// fails reports whether one of While is proved not to hold by the newest
// sample, with the deadband from those before.
func (n *naive) fails() bool {
	for _, w := range n.While {
		if len(w.Phases) > 0 {
			if !slices.Contains(w.Phases, n.past[len(n.past)-1].phase) {
				return true
			}
			continue
		}
		sign := 1.0
		if w.Kind == Below {
			sign = -1
		}
		for i := len(n.past) - 1; i >= 0; i-- {
			x := n.past[i].of(w.Channel)
			if !number(x) || sign*x.Value >= sign*w.Limit || w.Kind == Above && x.AtLeast {
				break
			}
			if sign*x.Value < sign*w.Limit-w.Deadband {
				return true
			}
		}
	}
	return false
}
