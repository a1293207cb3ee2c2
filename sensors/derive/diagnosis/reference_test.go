package diagnosis

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// A line through points of a known one finds it, and says nothing far from them.
func TestLine(t *testing.T) {
	var l Line
	rng := rand.New(rand.NewPCG(1, 1))
	for range 3000 {
		x := 3 + 0.4*rng.Float64()
		l.add(x, 300+80*x+rng.NormFloat64(), 1)
	}
	// The slope is held to 0 by as much as flat is of the points' variance.
	variance := 0.4 * 0.4 / 12
	want := 80 * variance / (variance + flat)
	if got := l.slope(); math.Abs(got-want) > 1 {
		t.Errorf("slope %.2f, want %.2f", got, want)
	}
	if got, beyond := l.at(3.2); math.Abs(got-556) > 0.3 || beyond != 0 {
		t.Errorf("at 3.2: %.2f within %.2f, want 556", got, beyond)
	}
	if got, beyond := l.at(4.5); got > 600 || got+beyond < 640 {
		t.Errorf("far from all points: %.2f within %.2f", got, beyond)
	}
	// The past fades: 2 h later it is another line.
	for range 40000 {
		l.add(3.2, 100, 1)
	}
	if got, _ := l.at(3.2); math.Abs(got-100) > 3 || l.N > memory+1 {
		t.Errorf("after 11 h: %.2f, N %g", got, l.N)
	}
	var none Line
	if y, _ := none.at(0); !math.IsNaN(y) {
		t.Error("a line without points says something")
	}
}

// What is far off moves the usual little: an hour at 4 spreads off moves it by
// 1.5 floors at most, an hour at half a spread by most of it.
func TestLearnDoubts(t *testing.T) {
	run := func(off float64) float64 {
		var r Reference
		for range 3600 {
			r.learn(WallNear, 0, 430, 1)
		}
		for range 3600 {
			r.learn(WallNear, 0, 430+off*r.spread(WallNear), 1)
		}
		y, _, _ := r.usual(WallNear, 0)
		return (y - 430) / tellings[WallNear].floor
	}
	if got := run(4); got > 1.5 {
		t.Errorf("4 spreads off: the usual moved by %.2f", got)
	}
	if got := run(0.5); got < 0.3 || got > 0.75 {
		t.Errorf("half a spread off: the usual moved by %.2f", got)
	}
}

// A filter that fills by 40 % an hour is followed, and goes on while nothing is
// learned; a cleaned one is taken as clean, a torn one is not.
func TestResistance(t *testing.T) {
	var r Resistance
	perSecond := math.Log(1.4) / 3600
	y := 1.6
	for range 3600 {
		y += perSecond
		r.learn(y, 0.08, 1)
	}
	if off := y - r.Level; math.Abs(off) > 0.03 {
		t.Errorf("behind by %.3f", off)
	}
	if math.Abs(r.Growth/perSecond-1) > 0.3 {
		t.Errorf("growth %.2g per s, want %.2g", r.Growth, perSecond)
	}
	full := r.Level
	r.begin(r.Cleanest + 0.02)
	if r.Level > full-0.2 {
		t.Errorf("cleaned: level %.3f of %.3f", r.Level, full)
	}
	r.begin(r.Cleanest - 1)
	if low := r.Cleanest + math.Log(0.75); r.Level != low {
		t.Errorf("torn: level %.3f, want %.3f", r.Level, low)
	}
}

// What is kept comes back from JSON as it was; what cannot be does not.
func TestKeep(t *testing.T) {
	var r Reference
	r.anew()
	for i := range 2000 {
		x := 3 + 0.1*math.Sin(float64(i)/50)
		r.learn(GasOut, x, 280+10*x, 1)
		r.filter.learn(1.7, 0.08, 1)
		r.flow.add(0, -2.5, 1)
	}
	text, err := json.Marshal(r.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var kept Kept
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	var back Reference
	back.anew()
	back.Restore(kept)
	if !reflect.DeepEqual(back.Keep(), r.Keep()) {
		t.Errorf("%+v\nwant %+v", back.Keep(), r.Keep())
	}
	nan := math.NaN()
	bad := Kept{
		Signs: map[string]KeptSign{
			"gas_out":   {Line{N: nan}, 1},
			"wall_near": {Line{N: -1}, 1},
			"wall_far":  {Line{N: 100, XX: -1}, 1},
			"cooling":   {Line{N: 100, Y: math.Inf(1)}, 1},
			"heat":      {Line{N: 100}, nan},
			"rust":      {Line{N: 100}, 1},
		},
		Filter: Resistance{N: 500, Growth: 1},
		Flow:   Line{N: 1e9},
	}
	var fresh Reference
	fresh.anew()
	fresh.Restore(bad)
	var want Reference
	want.anew()
	if fresh != want {
		t.Errorf("nonsense was taken: %+v", fresh.Keep())
	}
}
