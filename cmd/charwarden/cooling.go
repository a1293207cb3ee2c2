package main

import (
	"fmt"
	"math"

	"charwarden/sensors/derive/cooldown"
)

// cooling is a recording of a wall, and the law that goes through it.
type cooling struct {
	minute, degC []float64
	start, tau   float64 // degC at minute 0; s
	off          float64 // root of the mean square of what is off the law, K
}

// coolingOf reads the recording and puts the law through it, by least squares.
func coolingOf(s *settings) (*cooling, error) {
	file := s.word["profile"]
	col, err := readColumns(file, "minute", "degc")
	if err != nil {
		return nil, err
	}
	r := &cooling{minute: col[0], degC: col[1]}
	n := len(r.minute)
	if n < 3 {
		return nil, fmt.Errorf("%s: %d rows: 3 or more are wanted", file, n)
	}
	for i := 1; i < n; i++ {
		if r.minute[i] <= r.minute[i-1] {
			return nil, fmt.Errorf("%s: row %d: minute %g: must be after %g, the row before", file, i+1, r.minute[i], r.minute[i-1])
		}
	}
	air, length := s.of("air"), 60*(r.minute[n-1]-r.minute[0])
	// What is off depends on ln tau with one lowest place: golden section.
	lo, hi := math.Log(length/100), math.Log(length*100)
	least, most := lo, hi
	golden := (math.Sqrt(5) - 1) / 2
	for hi-lo > 1e-9 {
		a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
		if r.through(math.Exp(a), air) < r.through(math.Exp(b), air) {
			hi = b
		} else {
			lo = a
		}
	}
	r.tau = math.Exp((lo + hi) / 2)
	r.off = math.Sqrt(r.through(r.tau, air) / float64(n))
	if lo-least < 1e-6 || most-hi < 1e-6 || !(r.start > air) || !finite(r.start) {
		return nil, fmt.Errorf("%s: does not cool towards air of %s", file, inDegC.text(air))
	}
	return r, nil
}

// through sets the start that fits best with tau, in s, and returns the sum of
// the squares of what is off.
func (r *cooling) through(tau, air float64) float64 {
	var sey, see float64
	for i, m := range r.minute {
		e := math.Exp(-60 * (m - r.minute[0]) / tau)
		sey += e * (r.degC[i] - air)
		see += e * e
	}
	first := air + sey/see
	var sum float64
	for i, m := range r.minute {
		d := r.degC[i] - cooldown.At(first, air, tau, 60*(m-r.minute[0]))
		sum += d * d
	}
	r.start = air + (first-air)*math.Exp(60*r.minute[0]/tau)
	return sum
}
