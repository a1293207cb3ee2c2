package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Solver solves hearths; it keeps its last answer to start from, so that the
// next one near it is quick. It allocates nothing. Not for two goroutines.
type Solver struct {
	bed
	t float64 // K
}

// Solve is one solution from a cold start.
func Solve(in Input) (State, error) { return new(Solver).Solve(in) }

// Solve returns the state that in leads to, or a *RangeError.
func (s *Solver) Solve(in Input) (State, error) {
	if err := in.check(); err != nil {
		return State{}, err
	}
	f := newFeed(&in)
	return s.solve(&f, &in), nil
}

// solve is Solve of what has been checked.
func (s *Solver) solve(f *feed, in *Input) State {
	if in.Imposed {
		s.t = in.BedExit + gas.ZeroC
		st := f.state(&s.bed, s.t, s.spare(f, s.t)/f.lhv)
		st.BedExit = in.BedExit // to the last digit
		return st
	}
	if s.t == 0 {
		s.t = 1050
	}
	// The heat to spare falls with the temperature, and within these bounds is
	// as much as anything in the box asks for.
	s.t = root(s.t, 500, 5900, func(t float64) float64 { return s.spare(f, t) - in.Loss*f.lhv })
	return f.state(&s.bed, s.t, in.Loss)
}

// spare is the heat in J per kg of charcoal that the bed can lose at t in K.
func (s *Solver) spare(f *feed, t float64) float64 {
	th := gas.At(t)
	s.settle(f, &th)
	return f.heat + s.blast*f.blastHeat(s.spent) - s.gas*th.Of(&s.x)
}

// root finds where the falling f, which is above 0 at low and below it at high,
// is 0, starting at x. f was called last with what is returned.
func root(x, low, high float64, f func(float64) float64) float64 {
	y := f(x)
	next := x * (1 + math.Copysign(1e-3, y))
	for i := range 200 {
		if y > 0 {
			low = x
		} else {
			high = x
		}
		// By the secant, or half way if that leads out or to nothing.
		if !(next >= low && next <= high) || i > 20 && i%2 == 0 {
			next = (low + high) / 2
		}
		if math.Abs(next-x) <= 1e-13*x {
			break
		}
		was, last := x, y
		x, y = next, f(next)
		next = x - y*(x-was)/(y-last)
	}
	return x
}
