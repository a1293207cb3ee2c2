package hearth

import "math"

// dual is a value with its slopes by the three unknowns: ln x_CO, ln x_H2 and T
// in 1000 K. Newton's matrix comes out of it exact (forward differentiation).
type dual struct {
	v float64
	d [3]float64
}

func (a dual) add(b dual) dual {
	return dual{a.v + b.v, [3]float64{a.d[0] + b.d[0], a.d[1] + b.d[1], a.d[2] + b.d[2]}}
}

func (a dual) sub(b dual) dual { return a.add(b.times(-1)) }

func (a dual) times(k float64) dual {
	return dual{a.v * k, [3]float64{a.d[0] * k, a.d[1] * k, a.d[2] * k}}
}

func (a dual) plus(k float64) dual { a.v += k; return a }

func (a dual) mul(b dual) dual {
	return dual{a.v * b.v, [3]float64{a.d[0]*b.v + a.v*b.d[0], a.d[1]*b.v + a.v*b.d[1], a.d[2]*b.v + a.v*b.d[2]}}
}

func (a dual) div(b dual) dual {
	q := a.v / b.v
	return dual{q, [3]float64{(a.d[0] - q*b.d[0]) / b.v, (a.d[1] - q*b.d[1]) / b.v, (a.d[2] - q*b.d[2]) / b.v}}
}

func (a dual) exp() dual {
	e := math.Exp(a.v)
	return a.scaled(e, e)
}

// scaled is a function of a with the value v and the slope s.
func (a dual) scaled(v, s float64) dual {
	return dual{v, [3]float64{a.d[0] * s, a.d[1] * s, a.d[2] * s}}
}
