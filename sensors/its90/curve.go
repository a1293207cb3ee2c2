package its90

import "math"

// curve is one type's published functions, pieces in rising order. The
// inverse may start above the lowest voltage; pieces of R and S overlap, where
// either serves.
type curve struct {
	forward []forward
	inverse []inverse
}

// forward is E = sum c[i]*t^i in mV for t in [loC, hiC] degC, plus the bump.
type forward struct {
	loC, hiC float64
	c        []float64
	bump     *bump
}

// bump is type K's magnetic ordering term above 0 degC, a0*exp(a1*(t-a2)^2).
type bump struct{ a0, a1, a2 float64 }

// inverse is t = sum c[i]*E^i in degC for E in [loMV, hiMV] mV.
type inverse struct {
	loMV, hiMV float64
	c          []float64
}

// span returns the first and last temperature of the curve.
func (c *curve) span() (loC, hiC float64) {
	return c.forward[0].loC, c.forward[len(c.forward)-1].hiC
}

// spanMV returns the voltages at the ends of span.
func (c *curve) spanMV() (lo, hi float64) {
	loC, hiC := c.span()
	lo, _ = c.at(loC)
	hi, _ = c.at(hiC)
	return lo, hi
}

// at returns voltage and slope at tempC, which is inside span.
func (c *curve) at(tempC float64) (mV, slope float64) {
	i := 0
	for tempC > c.forward[i].hiC {
		i++
	}
	return c.forward[i].at(tempC)
}

// at evaluates the piece by Horner's rule, value and derivative in one pass.
func (f *forward) at(tempC float64) (mV, slope float64) {
	for i := len(f.c) - 1; i >= 0; i-- {
		slope = slope*tempC + mV
		mV = mV*tempC + f.c[i]
	}
	if b := f.bump; b != nil {
		d := tempC - b.a2
		e := b.a0 * math.Exp(b.a1*d*d)
		mV += e
		slope += 2 * b.a1 * d * e
	}
	return mV, slope
}

// at evaluates the piece by Horner's rule.
func (v *inverse) at(mV float64) (tempC float64) {
	for i := len(v.c) - 1; i >= 0; i-- {
		tempC = tempC*mV + v.c[i]
	}
	return tempC
}

// seed returns the published inverse at mV, or at its nearest end.
func (c *curve) seed(mV float64) (tempC float64) {
	last := len(c.inverse) - 1
	mV = min(max(mV, c.inverse[0].loMV), c.inverse[last].hiMV)
	i := 0
	for mV > c.inverse[i].hiMV {
		i++
	}
	return c.inverse[i].at(mV)
}

// solve returns the temperature at which the curve has the voltage mV, which
// is inside spanMV. From a seed inside the published inverse two steps are
// enough. Below it the curve is convex and the seed lies above the root, so
// that Newton walks down without overshooting; the slope there falls to
// 0.3 uV/degC and up to a dozen steps are needed. The limit ends a walk that
// cannot settle: between two pieces that do not quite meet (type J at 760 degC,
// 7.5e-8 mV apart), or in the rounding noise of type T's 14th order near -270.
func (c *curve) solve(mV float64) (tempC float64) {
	const (
		limit   = 40
		settled = 1e-7 // degC; the step after it would be far smaller still
	)
	lo, hi := c.span()
	tempC = min(max(c.seed(mV), lo), hi)
	for range limit {
		e, slope := c.at(tempC)
		next := min(max(tempC-(e-mV)/slope, lo), hi)
		if math.Abs(next-tempC) < settled {
			return next
		}
		tempC = next
	}
	return tempC
}
