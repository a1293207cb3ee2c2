// Package cooldown follows a rig that was stopped and sealed: how fast it cools
// against its own best, when its walls are cool, and whether it burns again; and
// it judges the rig's seals by its own suction.
package cooldown

import "math"

// Caution goes with every figure of this package: a wall that is cool says
// nothing of the bed.
const Caution = "Embers and CO may remain. Not before the next morning, outdoors, upwind."

// At is the temperature in degC after a time, of what cools from start to air
// with the time constant tau in the same unit (Newton's law of cooling):
//
//	T = Ta + (T0 - Ta) exp(-t/tau)
func At(start, air, tau, t float64) float64 { return air + (start-air)*math.Exp(-t/tau) }

// Until is the time to come down from start to temp, in tau's unit: 0 if it is
// there, infinite if air is not below it.
func Until(start, air, tau, temp float64) float64 {
	switch {
	case start <= temp:
		return 0
	case air >= temp:
		return math.Inf(1)
	}
	return tau * math.Log((start-air)/(temp-air))
}

// line is y over x by least squares, from sums.
type line struct{ n, x, y, xx, xy, yy float64 }

func (l *line) add(x, y float64) {
	l.n++
	dx, dy := x-l.x, y-l.y
	l.x += dx / l.n
	l.y += dy / l.n
	l.xx += dx * (x - l.x)
	l.xy += dx * (y - l.y)
	l.yy += dy * (y - l.y)
}

// slope and its standard error; not a number from fewer than three points.
func (l *line) slope() (b, se float64) {
	if l.n < 3 || l.xx <= 0 {
		return math.NaN(), math.NaN()
	}
	b = l.xy / l.xx
	return b, math.Sqrt(max(0, l.yy-b*l.xy) / (l.n - 2) / l.xx)
}
