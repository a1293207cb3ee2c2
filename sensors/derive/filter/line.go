package filter

import "math"

// Point of a Line: x, y.
type Point [2]float64

// Line is a straight one through points, by least squares of y.
type Line struct {
	N           int     // points
	X, Y        float64 // their mean, which is on the line
	Slope       float64
	SlopeError  float64 // standard error of Slope
	Residual    float64 // standard deviation of the points from the line; N-2 degrees of freedom
	Sxx         float64 // sum of (x - X)^2
	Memory      float64 // correlation of a residual with the next one; 0 to 0.9
	Determinate bool    // there are three points or more, and not all at one x
}

// Fit returns the line through the points, which Memory takes to be in the order
// of time; it allocates nothing.
//
// Memory is 0 for less than 8 points. A line through n points hides some of it,
// about (2 + 4 rho)/n, which is put back (after Kendall, Biometrika 41 (1954)
// 403, from memory).
func Fit(points []Point) Line {
	l := Line{N: len(points)}
	n := float64(l.N)
	for _, p := range points {
		l.X += p[0] / n
		l.Y += p[1] / n
	}
	var sxy, syy float64
	for _, p := range points {
		dx, dy := p[0]-l.X, p[1]-l.Y
		l.Sxx += dx * dx
		sxy += dx * dy
		syy += dy * dy
	}
	if l.Determinate = l.N >= 3 && l.Sxx > 0; !l.Determinate {
		return l
	}
	l.Slope = sxy / l.Sxx
	l.Residual = math.Sqrt(max(0, syy-l.Slope*sxy) / (n - 2))
	l.SlopeError = l.Residual / math.Sqrt(l.Sxx)
	var pairs, squares, last float64
	for i, p := range points {
		r := p[1] - l.At(p[0])
		if i > 0 {
			pairs += r * last
		}
		squares += r * r
		last = r
	}
	if l.N >= 8 && squares > 0 {
		l.Memory = max(0, min((n*pairs/squares+2)/(n-4), 0.9))
	}
	return l
}

// At is y of the line at x.
func (l *Line) At(x float64) float64 { return l.Y + l.Slope*(x-l.X) }

// Scatter is the standard deviation of one more point from the line at x.
func (l *Line) Scatter(x float64) float64 {
	d := x - l.X
	return l.Residual * math.Sqrt(1+1/float64(l.N)+d*d/l.Sxx)
}

// Reaches is the x at which the line reaches y, and the half width of it, k = 2:
//
//	u = 2 s/b (1/n + (x - X)^2/Sxx)^(1/2) ((1 + rho)/(1 - rho))^(1/2)
//
// (inverse estimation, Draper and Smith, Applied Regression Analysis, section
// 3.2, from memory; JCGM 100:2008, 5.1.2 with Y and the slope independent), the
// last factor for points that know of each other: n of them are worth n (1 -
// rho)/(1 + rho) (Bayley and Hammersley 1946, from memory). It is that of the
// line, not of a point. The slope must be above 0, by some of its standard
// errors for u to be right.
func (l *Line) Reaches(y float64) (x, u float64) {
	d := (y - l.Y) / l.Slope
	return l.X + d, 2 * l.Residual / l.Slope * math.Sqrt(1/float64(l.N)+d*d/l.Sxx) * l.widening()
}

// Rises says that the slope is above 0 by so many standard errors, for points
// that know of each other.
func (l *Line) Rises(by float64) bool {
	return l.Determinate && l.Slope > 0 && l.Slope > by*l.SlopeError*l.widening()
}

func (l *Line) widening() float64 { return math.Sqrt((1 + l.Memory) / (1 - l.Memory)) }
