package exposure

import (
	"math"
	"math/rand/v2"
	"testing"
)

// exact is a second independent solution of the same equation: at one
// concentration it can be integrated by hand, to the time at which y is
// reached, and that is solved for y by halving.
func exact(w Work, percent, ppm, minutes float64) float64 {
	u := breaths[w].uptake(ppm)
	a, b := u.in, u.out
	y0 := percent / 100
	end := a / (a + b) // where it goes
	timeTo := func(y float64) float64 {
		// dt = (1-y)/(a-(a+b)y) dy
		return (y-y0)/(a+b) - b/((a+b)*(a+b))*math.Log((end-y)/(end-y0))
	}
	lo, hi := y0, end
	for range 200 {
		if mid := (lo + hi) / 2; timeTo(mid) < minutes {
			lo = mid
		} else {
			hi = mid
		}
	}
	return 100 * min(lo, 0.99)
}

// Where a Runge-Kutta step of 0.75 min is silently wrong, where one of 1 min
// explodes, and far beyond, against the exact solution.
func TestStiff(t *testing.T) {
	for _, w := range []Work{Rest, Light, Moderate, Heavy, VeryHeavy} {
		for _, ppm := range []float64{0, 35, 1200, 12_800, 50_000, 200_000, 600_000, 680_000, 1e6} {
			for _, minutes := range []float64{1.0 / 600, 0.05, 0.5, 1, 2.5, 10, 75, 480, 100_000} {
				for _, start := range []float64{0, 0.7, 40, 98.9} {
					got, want := w.COHb(start, ppm, minutes), exact(w, start, ppm, minutes)
					if !(math.Abs(got-want) < 1e-4) {
						t.Errorf("%v, %v %%, %v ppm, %v min: %v, want %v", w, start, ppm, minutes, got, want)
					}
				}
			}
		}
	}
}

// More CO, more time or more to begin with never gives less; nothing leaves 0
// to 99; and the way is the same in one piece or in two.
func TestOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	models := map[string]func(percent, ppm, minutes float64) float64{
		"cfk":    VeryHeavy.COHb,
		"linear": func(percent, ppm, minutes float64) float64 { return Linear(HeavyB, percent, ppm, minutes) },
	}
	for name, model := range models {
		for range 3000 {
			start, ppm, minutes := 99*rng.Float64(), math.Pow(10, 6*rng.Float64()), math.Pow(10, 5*rng.Float64()-2)
			got := model(start, ppm, minutes)
			if !(got >= 0 && got <= 99) {
				t.Fatalf("%s %v %v %v: %v", name, start, ppm, minutes, got)
			}
			if more := model(start, 1.1*ppm, minutes); more < got-1e-6 {
				t.Errorf("%s %v %v %v: %v, and more CO %v", name, start, ppm, minutes, got, more)
			}
			if more := model(min(99, start+1), ppm, minutes); more < got-1e-6 {
				t.Errorf("%s %v %v %v: %v, and more to begin with %v", name, start, ppm, minutes, got, more)
			}
			if two := model(model(start, ppm, minutes/3), ppm, minutes*2/3); math.Abs(two-got) > 1e-4 {
				t.Errorf("%s %v %v %v: %v, and in two pieces %v", name, start, ppm, minutes, got, two)
			}
		}
	}
}

// A tick at a time, as the daemon goes, is the same as at one go.
func TestTicks(t *testing.T) {
	y := 0.7
	for range 15 * 600 {
		y = Moderate.COHb(y, 400, 1.0/600)
	}
	if want := exact(Moderate, 0.7, 400, 15); math.Abs(y-want) > 1e-6 {
		t.Errorf("%v, want %v", y, want)
	}
}

func TestWork(t *testing.T) {
	for w := range works {
		if back, err := ParseWork(w.String()); err != nil || back != w {
			t.Errorf("%v: %v, %v", w, back, err)
		}
	}
	if _, err := ParseWork("hard"); err == nil {
		t.Error("hard work is a word")
	}
	if works.String() != "work(5)" {
		t.Error(works)
	}
}

func BenchmarkCOHb(b *testing.B) {
	y := 0.7
	for b.Loop() {
		y = Moderate.COHb(y, 35, 1.0/600)
	}
}
