package wall

import (
	"math"
	"testing"
	"time"
)

// A second, independent implementation (Python, constant from memory): the rate
// constant, mm of scale in 100 h and mm of the metal that it was, by degC.
func TestScale(t *testing.T) {
	for _, c := range []struct{ temp, growth, scale, metal float64 }{
		{600, 4.450e-10, 0.127, 0.072},
		{700, 4.898e-9, 0.420, 0.237},
		{800, 3.448e-8, 1.114, 0.629},
		{900, 1.740e-7, 2.503, 1.414},
	} {
		if got := Growth(c.temp); math.Abs(got/c.growth-1) > 5e-4 {
			t.Errorf("%g degC: %g cm2/s, want %g", c.temp, got, c.growth)
		}
		scale := Scale(Stay{c.temp, 100 * time.Hour})
		if math.Abs(scale-c.scale) > 6e-4 || math.Abs(Loss(scale)-c.metal) > 6e-4 {
			t.Errorf("%g degC: %g mm of %g, want %g of %g", c.temp, scale, Loss(scale), c.scale, c.metal)
		}
	}
}

// The same implementation: a run of 2 h at 560, 1 h at 640 and 0.5 h at 720 degC,
// and 40 of them.
func TestScaleOfRuns(t *testing.T) {
	run := []Stay{{560, 2 * time.Hour}, {640, time.Hour}, {720, 30 * time.Minute}}
	if got := Scale(run...); math.Abs(got-0.0435) > 5e-5 {
		t.Errorf("one run: %g mm", got)
	}
	var all []Stay
	for range 40 {
		all = append(all, run...)
	}
	if got := Scale(all...); math.Abs(got-0.2752) > 5e-5 {
		t.Errorf("40 runs: %g mm", got)
	}
	if got := Scale(); got != 0 {
		t.Errorf("never: %g mm", got)
	}
	for _, cold := range []float64{-274, -273.15, math.Inf(-1), math.NaN()} {
		if got := Growth(cold); got != 0 {
			t.Errorf("%g degC: %g", cold, got)
		}
	}
}
