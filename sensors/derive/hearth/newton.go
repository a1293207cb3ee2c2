package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// enough is the sum of the relative errors of the balances at which Newton's
// method stops: a few units of the last place.
const enough = 1e-13

// newton goes from u to where f closes. It halves steps that make things worse,
// and gives up after a fixed number of them.
func (f *feed) newton(u point, imposed bool) (point, balance, bool) {
	th := gas.At(1000 * u.t)
	b := f.at(u, &th)
	norm := b.norm(imposed)
	if math.IsInf(norm, 1) {
		return u, b, false
	}
	for range 60 {
		if norm < enough {
			return u, b, true
		}
		step, ok := b.step(imposed)
		if !ok {
			return u, b, false
		}
		// No further than the model stays a model.
		scale := 1.0
		for i, most := range [3]float64{1.5, 2, 0.25} {
			if s := math.Abs(step[i]); s*scale > most {
				scale = most / s
			}
		}
		better := false
		for range 12 {
			v := point{u.co + scale*step[0], u.h2 + scale*step[1], u.t + scale*step[2]}
			if v.t < coldest || v.t > hottest {
				scale /= 2
				continue
			}
			if v.t != u.t {
				th = gas.At(1000 * v.t)
			}
			c := f.at(v, &th)
			if n := c.norm(imposed); n < norm {
				u, b, norm, better = v, c, n, true
				break
			}
			scale /= 2
		}
		if !better { // the last place has been reached, or there is no way down
			return u, b, norm < 1e-11
		}
	}
	return u, b, norm < 1e-11
}

// Beds colder or hotter than this are not looked for, 1000 K.
const coldest, hottest = 0.35, 5.9

// step solves for Newton's step by Cramer's rule.
func (b *balance) step(imposed bool) (s [3]float64, ok bool) {
	var m [3][3]float64
	for i := range m {
		m[i] = b.left[i].d
	}
	r := [3]float64{-b.left[0].v, -b.left[1].v, -b.left[2].v}
	if imposed {
		m[2], r[2] = [3]float64{0, 0, 1}, 0
	}
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	d := det(m)
	if d == 0 || !finite(d) {
		return s, false
	}
	for j := range s {
		c := m
		for i := range c {
			c[i][j] = r[i]
		}
		s[j] = det(c) / d
		if !finite(s[j]) {
			return s, false
		}
	}
	return s, true
}
