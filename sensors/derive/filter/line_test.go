package filter

import (
	"math"
	"math/rand/v2"
	"testing"
)

// NIST Statistical Reference Datasets, "Norris": linear regression, 36
// observations of y and x (from memory; they give the certified values).
var norris = []Point{
	{0.2, 0.1}, {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2}, {226.5, 228.1}, {666.3, 668.5}, {996.3, 998.5},
	{448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3}, {0.6, 0.1}, {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3},
	{447.5, 448.9}, {11.6, 10.8}, {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},
	{0.3, 0.6}, {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9}, {11.1, 10.2}, {118.3, 117.6},
	{229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2},
}

func TestFitNIST(t *testing.T) {
	l := Fit(norris)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"B0", l.At(0), -0.262323073774029},
		{"B1", l.Slope, 1.00211681802045},
		{"error of B0", math.Sqrt(l.Scatter(0)*l.Scatter(0) - l.Residual*l.Residual), 0.232818234301152},
		{"error of B1", l.SlopeError, 0.429796848199937e-03},
		{"residual", l.Residual, 0.884796396144373},
	} {
		if math.Abs(c.got-c.want) > 1e-9*math.Abs(c.want) {
			t.Errorf("%s: %.15g, certified %.15g", c.name, c.got, c.want)
		}
	}
	if l.N != 36 || !l.Determinate {
		t.Errorf("%+v", l)
	}
}

// A filter's resistance in Pa per Nm3/h over the kg burnt, due at 450 Pa and
// 6.0 Nm3/h: a second, independent implementation (Python), to its last digit.
func TestFilterLine(t *testing.T) {
	var points []Point
	for _, c := range [][3]float64{{0, 90, 6.0}, {2, 128, 6.3}, {4, 150, 6.0}, {6, 168, 5.6}, {8, 213, 5.9}, {10, 241, 5.8}} {
		points = append(points, Point{c[0], c[1] / c[2]})
	}
	l := Fit(points)
	x, u := l.Reaches(450 / 6.0)
	for _, c := range []struct {
		name             string
		got, want, digit float64
	}{
		{"slope", l.Slope, 2.6444, 5e-5},
		{"intercept", l.At(0), 14.773, 5e-4},
		{"Pa now", 6 * l.At(10), 247.3, 0.05},
		{"due", x, 22.77, 0.005},
		{"left", x - 10, 12.77, 0.005},
		{"hours", (x - 10) / 1.41, 9.06, 0.005},
	} {
		if math.Abs(c.got-c.want) > c.digit {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
	if !(u > 0.1 && u < 2) {
		t.Errorf("due at %g within %g kg", x, u)
	}
}

func TestFitTooLittle(t *testing.T) {
	for _, p := range [][]Point{nil, {{1, 1}}, {{1, 1}, {2, 2}}, {{1, 1}, {1, 2}, {1, 3}}} {
		if l := Fit(p); l.Determinate || l.N != len(p) {
			t.Errorf("%v: %+v", p, l)
		}
	}
}

// Noise with a memory of 0.6 is told from noise without one, and makes what the
// line says as uncertain as it is (Monte Carlo, 2000 lines, within 25 %).
func TestMemory(t *testing.T) {
	for _, rho := range []float64{0, 0.6} {
		rnd := rand.New(rand.NewPCG(3, 4))
		var memory, mean, square, width float64
		const trials = 2000
		for range trials {
			var points []Point
			last := rnd.NormFloat64()
			for x := 0.05; x < 5; x += 0.1 {
				last = rho*last + math.Sqrt(1-rho*rho)*rnd.NormFloat64()
				points = append(points, Point{x, 8*x + 2*last})
			}
			l := Fit(points)
			memory += l.Memory / trials
			x, u := l.Reaches(100)
			mean += x / trials
			square += x * x / trials
			width += u / trials
		}
		spread := 2 * math.Sqrt(square-mean*mean)
		if math.Abs(memory-rho) > 0.08 || math.Abs(width/spread-1) > 0.25 {
			t.Errorf("memory %.2f, is %g; half width %.2f, is %.2f", memory, rho, width, spread)
		}
	}
}

// The half width of Reaches is twice the standard deviation of what it gives on
// 4000 lines with noise of a known size (Monte Carlo, JCGM 101:2008); within 10 %.
func TestReachesMonteCarlo(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	var mean, square, width float64
	const trials = 4000
	for range trials {
		var points []Point
		for x := 0.05; x < 5; x += 0.1 {
			points = append(points, Point{x, 3 + 8*x + 2*rnd.NormFloat64()})
		}
		l := Fit(points)
		x, u := l.Reaches(100)
		mean += x / trials
		square += x * x / trials
		width += u / trials
	}
	spread := 2 * math.Sqrt(square-mean*mean)
	if math.Abs(mean-97.0/8) > 0.02 || math.Abs(width/spread-1) > 0.1 {
		t.Errorf("reaches %g, want %g; half width %g, want %g", mean, 97.0/8, width, spread)
	}
}
