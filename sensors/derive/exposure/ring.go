package exposure

import "time"

// ring is the integral of a concentration over the last span, ppm·s, in cells
// of step, which count from time 0 on. Inside a cell it is taken as even.
type ring struct {
	step  time.Duration
	cells []float64
	end   time.Duration // what has been counted
}

func newRing(step, span time.Duration) ring {
	return ring{step: step, cells: make([]float64, span/step+1)} // the first and the last are in parts
}

// add counts ppm from one time to another; it may be in the past, and then
// adds to what is there.
func (r *ring) add(from, to time.Duration, ppm float64) {
	n := time.Duration(len(r.cells))
	if to > r.end {
		for i := max(r.end/r.step, to/r.step-n) + 1; i <= to/r.step; i++ {
			r.cells[i%n] = 0
		}
		r.end = to
	}
	for i := max(from/r.step, r.end/r.step-n+1); i*r.step < to; i++ {
		part := min(to, (i+1)*r.step) - max(from, i*r.step)
		r.cells[i%n] += ppm * part.Seconds()
	}
}

// sum returns the integral from one time to another, within the span.
func (r *ring) sum(from, to time.Duration) float64 {
	n := time.Duration(len(r.cells))
	first, last := from/r.step, (to-1)/r.step
	if first == last {
		return r.cells[first%n] * r.share(first, from, to)
	}
	s := r.cells[first%n] * r.share(first, from, to)
	k := first % n
	for i := first + 1; i < last; i++ {
		if k++; k == n {
			k = 0
		}
		s += r.cells[k]
	}
	return s + r.cells[last%n]*r.share(last, from, to)
}

// share is the part of what cell i has counted so far that lies between.
func (r *ring) share(i, from, to time.Duration) float64 {
	begin, end := i*r.step, min((i+1)*r.step, r.end)
	if end <= begin {
		return 0
	}
	return float64(min(to, end)-max(from, begin)) / float64(end-begin)
}
