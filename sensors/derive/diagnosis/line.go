package diagnosis

import "math"

// Line is y over x by least squares, in which the past fades: moments of the
// points, each weighted. It is kept as it is.
type Line struct {
	N  float64 `json:"n"` // weight of the points, in seconds
	X  float64 `json:"x"` // mean
	Y  float64 `json:"y"`
	XX float64 `json:"xx"` // sums of squares and products from the mean
	XY float64 `json:"xy"`
}

// memory is the weight that a Line has at most: 2 h of points.
const memory = 7200.0

// flat holds the slope to 0 where x has hardly moved: x is the logarithm of the
// flow, of which 5 % is no load step.
const flat = 0.05 * 0.05

// add takes a point with a weight in s.
func (l *Line) add(x, y, weight float64) {
	if more := l.N + weight; more > memory {
		keep := (memory - weight) / l.N
		l.N, l.XX, l.XY = l.N*keep, l.XX*keep, l.XY*keep
	}
	l.N += weight
	dx, dy := x-l.X, y-l.Y
	l.X += dx * weight / l.N
	l.Y += dy * weight / l.N
	l.XX += weight * dx * (x - l.X)
	l.XY += weight * dx * (y - l.Y)
}

// slope is XY/(XX + N flat).
func (l *Line) slope() float64 {
	if l.N == 0 {
		return 0
	}
	return l.XY / (l.XX + l.N*flat)
}

// at is y at x, and how far it may be off for being beyond the points: further
// than twice their spread and 0.1 from their mean it stays as it is there, and
// may be off by as much as it would have gone on.
func (l *Line) at(x float64) (y, beyond float64) {
	if l.N == 0 || x != x {
		return math.NaN(), 0
	}
	reach := 2*math.Sqrt(l.XX/l.N) + 0.1
	d := max(-reach, min(x-l.X, reach))
	return l.Y + l.slope()*d, math.Abs(l.slope() * (x - l.X - d))
}

// sound reports whether it can be one that was kept.
func (l *Line) sound() bool {
	for _, v := range [...]float64{l.N, l.X, l.Y, l.XX, l.XY} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return l.N >= 0 && l.N <= memory+1 && l.XX >= 0
}
