package fuel

import (
	"math"
	"time"

	"charwarden/sensors"
)

// Own choices, no source.
const (
	bump      = 0.3               // kg away from what the balance says: nobody burns that in a moment
	still     = 0.15              // kg within which it stays where it is
	settles   = 30 * time.Second  // how long until that is believed
	memory    = 10 * time.Minute  // in which the scale sets the balance right
	burnsOff  = 0.3               // share of the rate by which the balance may be wrong
	leastUnit = 0.05              // kg, half width of a scale that states none
	lag       = 150 * time.Second // of the rate that the scale alone tells
	learns    = 10 * time.Minute  // until that is known
	drifts    = 30 * time.Minute  // in which the scale may drift by its half width
)

// balancer sets the hopper right by a scale. The balance is good over minutes,
// the scale over hours; a scale that runs away by itself (its bridge gets warm)
// is told by two things that charcoal cannot do: it cannot burn with no gas
// drawn, and not at a rate far from that of its gas.
type balancer struct {
	first   bool    // nothing has been taken from the scale yet
	offset  float64 // kg that the scale shows too much
	trusted bool
	shows   float64 // kg, without the offset
	half    float64 // kg, half width of the scale

	alone time.Duration // the scale has told the rate for so long
	seen  float64       // kg burnt by the scale, which may go back a little

	waiting bool // for a jump to stay
	level   float64
	from    time.Time
}

// weigh takes a reading of the scale, when the flow has told what burnt since
// the last one or when nothing has.
func (h *Hopper) weigh(now time.Time, hours float64, scale *sensors.Reading, byFlow bool) {
	b := &h.balance
	if scale.Status != sensors.Good {
		b.waiting, b.trusted, b.alone = false, false, 0 // a bad scale is none
		return
	}
	if byFlow {
		b.alone, b.seen = 0, h.burnt
	}
	b.half = max(scale.Uncertainty, leastUnit)
	b.shows = scale.Value
	v := b.shows - b.offset
	if b.first || !h.known {
		b.first, b.offset, b.trusted = false, 0, true
		h.sure(max(0, scale.Value))
		return
	}
	b.trusted = true
	if !byFlow {
		h.follow(now, hours, v)
	}
	off := v - h.left
	if math.Abs(off) > bump {
		h.jump(now, v)
		return
	}
	b.waiting = false
	part := min(1, hours/memory.Hours())
	h.loose -= h.loose * part
	if !byFlow {
		return
	}
	if h.rate == 0 {
		b.offset += off * part // it drifts: nothing burns
		return
	}
	most := burnsOff * h.rate * hours
	h.left += max(-most, min(most, off*part))
}

// follow takes the rate from the scale, where no flow tells it: a tracker of the
// second order, critically damped, to which a steady fall is no error. A bump
// leaves it going on as before. What burns is counted when it is gone for good:
// the noise of the scale burns nothing.
func (h *Hopper) follow(now time.Time, hours float64, v float64) {
	b, w := &h.balance, 1/lag.Hours()
	kg := h.rate * hours
	if off := v - h.left; math.Abs(off) <= bump {
		kg -= 2 * w * hours * off
		h.rate = max(0, h.rate-w*w*hours*off)
	}
	h.left -= kg
	h.then -= kg // the balance has not counted it, and must not learn from it
	if b.alone == 0 {
		b.seen = h.burnt
	}
	b.seen += kg
	h.burnt = max(h.burnt, b.seen)
	b.alone += time.Duration(hours * float64(time.Hour))
	switch {
	case b.alone >= learns:
		h.flow = sensors.Reading{Channel: FlowChannel, At: now, Value: h.rate, Raw: h.rate, Cold: math.NaN(), Status: sensors.Good,
			Uncertainty: b.half / drifts.Hours()}
	case h.flow.Status == sensors.Unknown:
		h.flow.Err = errLearns
	}
}

// jump waits whether what the scale shows stays: a person who leans on the hopper
// goes again, charcoal that was put in does not.
func (h *Hopper) jump(now time.Time, v float64) {
	b := &h.balance
	if !b.waiting || math.Abs(v-b.level) > still {
		b.waiting, b.level, b.from = true, v, now
		return
	}
	if now.Sub(b.from) < settles {
		return
	}
	b.waiting = false
	if more := v - h.left; more > 0 {
		h.added += more
	} else {
		h.then += more // something was taken off
	}
	h.left = max(0, v)
}
