package exposure

import (
	"math"
	"testing"
)

// A second, independent calculation: gas with 30 % CO takes 6000 volumes of air
// to come down to 50 ppm, so that a leak of 1 L/min needs 6 m3/min.
func TestSecondDilution(t *testing.T) {
	if got := Diluted(1, 0.30, 6000); math.Abs(got-50) > 0.25 {
		t.Errorf("%.2f ppm, want 50", got)
	}
	if got := Diluted(1e-3, 0.30, 6); math.Abs(got-50) > 0.25 {
		t.Errorf("%.2f ppm, want 50", got)
	}
	if Diluted(1, 0.3, 0) != 3e5 || Diluted(0, 0.3, 0) != 0 {
		t.Error("neat gas, or none")
	}
}
