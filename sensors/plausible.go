package sensors

import (
	"fmt"
	"math"
	"time"
)

// stepCheck marks a step that the place cannot make: a flipped bit, a loose
// wire. A step that three readings in a row agree on is taken as real, so a
// fault of this kind never lasts longer than three periods.
type stepCheck struct {
	have   bool
	at     time.Time
	value  float64
	agreed int // readings in a row near pending
	pendAt time.Time
	pend   float64
}

const stepAgree = 3

func (k *stepCheck) judge(r *Reading, c *Channel) {
	reach := func(from float64, since time.Time) bool {
		dt := max(r.At.Sub(since), c.Period).Seconds()
		return math.Abs(r.Value-from) <= c.MaxRate*dt
	}
	if k.have && !reach(k.value, k.at) {
		if k.agreed > 0 && reach(k.pend, k.pendAt) {
			k.agreed++
		} else {
			k.agreed = 1
		}
		k.pend, k.pendAt = r.Value, r.At
		if k.agreed < stepAgree {
			r.Status = Jump
			r.Err = fmt.Errorf("step from %.4g to %.4g %s, more than %.4g %s/s", k.value, r.Value, c.Quantity.Unit(), c.MaxRate, c.Quantity.Unit())
			r.Value = math.NaN()
			return
		}
	}
	k.have, k.value, k.at, k.agreed = true, r.Value, r.At, 0
}

// frozenCheck marks a channel whose raw value stays the same to the last bit
// while another of its kind moves: a blocked tap, a chip read too fast.
type frozenCheck struct {
	raw    float64
	since  time.Time
	others []float64 // the other channels when it began
}

// moved is how far another channel must go for stillness to be suspicious.
func moved(q Quantity) float64 {
	switch q {
	case Temperature:
		return 20 // degC
	case Pressure:
		return 100 // Pa
	}
	return math.Inf(1)
}

func (k *frozenCheck) judge(now time.Time, i int, s *Sweep) {
	r, c := &s.readings[i], &s.channels[i]
	if r.Status != Good {
		return
	}
	if k.since.IsZero() || r.Raw != k.raw {
		k.raw, k.since = r.Raw, now
		for j := range s.readings {
			k.others[j] = math.NaN()
			if s.readings[j].Status == Good {
				k.others[j] = s.readings[j].Value
			}
		}
		return
	}
	for j := range s.readings {
		o := &s.readings[j]
		if j == i || s.channels[j].Quantity != c.Quantity || o.Status != Good {
			continue
		}
		if math.IsNaN(k.others[j]) { // it had no value when this one came to rest
			k.others[j] = o.Value
		}
		if now.Sub(k.since) < c.FrozenAfter {
			continue
		}
		if math.Abs(o.Value-k.others[j]) >= moved(c.Quantity) {
			r.Status, r.Value = Frozen, math.NaN()
			r.Err = fmt.Errorf("unchanged for %v while %s moved", now.Sub(k.since).Round(time.Second), o.Channel)
			return
		}
	}
}

// coupleCheck finds wiring faults that a thermocouple chip does not flag, on a
// couple that is known to be hot whenever certain others are: reversed wires
// (the hot junction reads below the cold one) and a couple shorted to itself
// (it reads just the cold junction). Common practice, no source.
type coupleCheck struct{ shortSince time.Time }

const (
	hotOver      = 150.0 // degC above this couple's cold junction: the others are hot
	reversedBy   = 10.0  // degC below the cold junction
	shortedBand  = 2.0   // degC around the cold junction
	shortedAfter = time.Minute
)

func (k *coupleCheck) judge(now time.Time, i int, s *Sweep) {
	r := &s.readings[i]
	if r.Status != Good || math.IsNaN(r.Cold) {
		k.shortSince = time.Time{}
		return
	}
	hot := ""
	for _, j := range s.state[i].hotIdx {
		if o := &s.readings[j]; o.Status == Good && o.Value > r.Cold+hotOver {
			hot = o.Channel
		}
	}
	above := r.Value - r.Cold
	if hot == "" || math.Abs(above) > shortedBand {
		k.shortSince = time.Time{}
	} else if k.shortSince.IsZero() {
		k.shortSince = now
	}
	switch {
	case hot != "" && above < -reversedBy:
		r.Err = fmt.Errorf("reads %.0f degC below its cold junction while %s is hot: swap the couple's two wires", -above, hot)
	case !k.shortSince.IsZero() && now.Sub(k.shortSince) >= shortedAfter:
		r.Err = fmt.Errorf("reads its cold junction while %s is hot: the couple is shorted to itself or fell out", hot)
	default:
		return
	}
	r.Status, r.Value = OutOfRange, math.NaN()
}
