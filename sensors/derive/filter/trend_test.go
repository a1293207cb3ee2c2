package filter

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// burner steps a trend through kg of charcoal, a minute and 1.41/60 kg at a
// time, 10 readings each.
type burner struct {
	*Trend
	now   time.Time
	kg    float64 // of the counter
	rnd   *rand.Rand
	noise float64 // percent
	dead  bool    // no loading
}

func burning(t *Trend) *burner {
	return &burner{Trend: t, now: noon, rnd: rand.New(rand.NewPCG(7, 8)), noise: 1}
}

const perHour = 1.41

// burn goes on for so many kg, with the loading at(kg since it began).
func (b *burner) burn(kg float64, at func(float64) float64) (mass, left sensors.Reading) {
	for burnt := 0.0; burnt < kg; {
		shift := b.noise * b.rnd.NormFloat64()
		for range 10 {
			b.now = b.now.Add(6 * time.Second)
			burnt += perHour / 600
			b.kg += perHour / 600
			loading := pa(at(burnt)+shift, 1)
			loading.At = b.now
			if b.dead {
				*loading = sensors.Bad("x", b.now, sensors.Open, nil)
			}
			mass, left = b.read(loading)
		}
	}
	return mass, left
}

func (b *burner) read(loading *sensors.Reading) (mass, left sensors.Reading) {
	all, rate := pa(b.kg, 0), pa(perHour, 0)
	all.At, rate.At = b.now, b.now
	b.Step(b.now, loading, all, rate)
	r := b.Readings(nil)
	return r[0], r[1]
}

func says(r sensors.Reading, words string) bool {
	return r.Status == sensors.Unknown && math.IsNaN(r.Value) && r.Err != nil && strings.Contains(r.Err.Error(), words)
}

// A filter of 15 + 2.65 kg in Pa per Nm3/h is due at 45: 100 % after 11.32 kg.
func line(kg float64) float64 { return 50 * 2.65 * kg / 15 }

const dueAt = 2 * 15 / 2.65

func TestTrend(t *testing.T) {
	b := burning(NewTrend())
	if r := b.Readings(nil); r[0].Channel != MassChannel || r[1].Channel != TimeChannel || !says(r[0], "not enough") || !says(r[1], "not enough") {
		t.Errorf("before the first step: %+v", r)
	}
	if mass, left := b.burn(0.75, line); !says(mass, "not enough") || !says(left, "not enough") {
		t.Errorf("%+v %+v", mass, left)
	}
	wide := math.Inf(1)
	for range 5 {
		mass, left := b.burn(1, func(kg float64) float64 { return line(b.kg) })
		if mass.Channel != MassChannel || left.Channel != TimeChannel || mass.Status != sensors.Good || left.Status != sensors.Good {
			t.Fatalf("%+v %+v", mass, left)
		}
		want := dueAt - b.kg
		if math.Abs(mass.Value-want) > mass.Uncertainty+0.05 || mass.Uncertainty > 0.7*want || mass.Uncertainty > wide || mass.Uncertainty == 0 {
			t.Errorf("at %g kg: %g within %g kg left, want %g", b.kg, mass.Value, mass.Uncertainty, want)
		}
		if want := mass.Value / perHour * 3600; math.Abs(left.Value-want) > 1e-6 || math.Abs(left.Uncertainty-mass.Uncertainty/perHour*3600) > 1e-6 {
			t.Errorf("at %g kg: %g within %g s", b.kg, left.Value, left.Uncertainty)
		}
		wide = mass.Uncertainty
	}
	if mass, left := b.burn(8, func(kg float64) float64 { return line(b.kg) }); mass.Value != 0 || left.Value != 0 || mass.Status != sensors.Good {
		t.Errorf("past due: %+v %+v", mass, left)
	}
}

// The engine off, no charcoal burns: what is left is known, when is not.
func TestTrendStatus(t *testing.T) {
	b := burning(NewTrend())
	want, _ := b.burn(3, line)
	good := pa(line(3), 1)
	unknown := sensors.Bad("filter_loading", noon, sensors.Unknown, errNoSuction)
	open := sensors.Bad("filter_loading", noon, sensors.Open, nil)
	clip := pa(900, 0)
	clip.Status = sensors.ClippedHigh
	all, none := pa(b.kg, 0), sensors.Bad("charcoal_flow", noon, sensors.Unknown, errIdle)
	for _, c := range []struct {
		name                 string
		loading, burnt, rate *sensors.Reading
		mass, left           sensors.Status
		says                 string
	}{
		{"running", good, all, pa(1.41, 0.1), sensors.Good, sensors.Good, ""},
		{"engine off", &unknown, all, &none, sensors.Good, sensors.Unknown, "no charcoal"},
		{"nothing burns", &unknown, all, pa(0.01, 0), sensors.Good, sensors.Unknown, "no charcoal"},
		{"rate not fitted", good, all, nil, sensors.Good, sensors.Unknown, "rate"},
		{"rate stale", good, all, &open, sensors.Good, sensors.Open, "rate"},
		{"drop open", &open, all, pa(1.41, 0), sensors.Open, sensors.Open, "loading"},
		{"drop past its range", clip, all, pa(1.41, 0), sensors.Unknown, sensors.Unknown, "loading"},
		{"no loading", nil, all, pa(1.41, 0), sensors.Unknown, sensors.Unknown, "loading"},
		{"burnt open", good, &open, pa(1.41, 0), sensors.Open, sensors.Open, "burnt"},
		{"burnt not fitted", good, nil, pa(1.41, 0), sensors.Unknown, sensors.Unknown, "burnt"},
	} {
		b.Step(b.now, c.loading, c.burnt, c.rate)
		r := b.Readings(nil)
		if r[0].Status != c.mass || r[1].Status != c.left || c.says != "" && !strings.Contains(r[1].Err.Error(), c.says) {
			t.Errorf("%s: %+v", c.name, r)
		}
		if c.mass == sensors.Good && math.Abs(r[0].Value-want.Value) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.name, r[0].Value, want.Value)
		}
	}
	// The loading is old, for the engine has long been off; the rate is late.
	unknown.At = b.now.Add(-time.Hour)
	slow := pa(1.41, 0.2)
	slow.At = b.now.Add(-time.Second)
	all.At = b.now
	b.Step(b.now, &unknown, all, slow)
	r := b.Readings(nil)
	per := 3600 / 1.41
	if !r[0].At.Equal(b.now) || !r[1].At.Equal(slow.At) || math.Abs(r[1].Uncertainty-math.Hypot(r[0].Uncertainty*per, r[1].Value*0.2/1.41)) > 1e-6 {
		t.Errorf("%+v", r)
	}
	good.At = b.now.Add(-time.Minute)
	if b.Step(b.now, good, all, slow); !b.Readings(nil)[0].At.Equal(good.At) {
		t.Errorf("%+v", b.Readings(nil))
	}
	if channels := b.Channels(); len(channels) != 2 || channels[0].Name != MassChannel || channels[1].Quantity.Unit() != "s" {
		t.Errorf("%+v", channels)
	}
}

// A flat or falling loading tells nothing, in any of 50 noises.
func TestTrendFlat(t *testing.T) {
	told := 0
	for seed := range uint64(50) {
		b := burning(NewTrend())
		b.rnd = rand.New(rand.NewPCG(seed, 1))
		if mass, _ := b.burn(3, func(float64) float64 { return 20 }); !says(mass, "does not rise") {
			told++
		}
		if mass, _ := burning(NewTrend()).burn(3, func(kg float64) float64 { return 40 - 3*kg }); !says(mass, "does not rise") {
			t.Fatalf("falling: %+v", mass)
		}
	}
	if told > 1 {
		t.Errorf("%d of 50 flat ones tell", told)
	}
}

// A filter that gets wet rises by three times in minutes; while it is, the
// trend waits, and it goes on as if nothing had been when the filter is dry.
func TestTrendWet(t *testing.T) {
	b := burning(NewTrend())
	on := func(float64) float64 { return line(b.kg) }
	b.burn(3, on)
	if mass, _ := b.burn(0.5, func(kg float64) float64 { return line(b.kg) + min(1, kg/0.1)*120 }); !says(mass, "left its line") {
		t.Errorf("wet: %+v", mass)
	}
	mass, _ := b.burn(2, on)
	if want := dueAt - b.kg; mass.Status != sensors.Good || math.Abs(mass.Value-want) > mass.Uncertainty+0.05 || mass.Uncertainty > 0.5 {
		t.Errorf("dry again: %+v, want %g", mass, want)
	}
	// Tar does not dry: after 1 kg it is a new line.
	if mass, _ := b.burn(1.25, func(float64) float64 { return line(b.kg) + 40 }); !says(mass, "stays above its line") {
		t.Errorf("tarry: %+v", mass)
	}
	mass, _ = b.burn(1, func(float64) float64 { return line(b.kg) + 40 })
	if want := max(0, dueAt-40/line(1)-b.kg); mass.Status != sensors.Good || math.Abs(mass.Value-want) > mass.Uncertainty+0.2 {
		t.Errorf("tarry: %+v, want %g", mass, want)
	}
}

// A loading that falls, but not to half, is no cleaning: it waits for 1 kg.
func TestTrendBelow(t *testing.T) {
	b := burning(NewTrend())
	b.burn(7, line)
	below := func(float64) float64 { return line(b.kg) - 20 }
	if mass, _ := b.burn(0.5, below); !says(mass, "left its line") {
		t.Errorf("%+v", mass)
	}
	if mass, _ := b.burn(0.75, below); !says(mass, "stays below its line") {
		t.Errorf("%+v", mass)
	}
}

// A filter that is full after 0.7 kg, and one of much noise, have a line too.
func TestTrendRough(t *testing.T) {
	b := burning(NewTrend())
	if mass, _ := b.burn(1, func(kg float64) float64 { return 150 * kg }); mass.Status != sensors.Good || mass.Value != 0 {
		t.Errorf("%+v", mass)
	}
	b = burning(NewTrend())
	b.noise = 10
	b.burn(8, line)
	if b.n < 76 {
		t.Errorf("%d points of 80", b.n)
	}
}

// A cleaning of which nobody spoke begins it anew, and it says so; one of which
// somebody did, at once; early in its life too.
func TestTrendCleaned(t *testing.T) {
	for _, before := range []float64{0.35, 2, 9} {
		b := burning(NewTrend())
		b.burn(before, func(kg float64) float64 { return 60 + line(kg)/10 })
		mass, _ := b.burn(0.35, line)
		if !says(mass, "began anew at") || !says(mass, "cleaned, or a hole") {
			t.Errorf("after %g kg: %+v", before, mass)
		}
		mass, _ = b.burn(1.5, func(kg float64) float64 { return line(0.35 + kg) })
		if want := dueAt - 1.85; mass.Status != sensors.Good || math.Abs(mass.Value-want) > mass.Uncertainty+0.05 {
			t.Errorf("after %g kg: %+v, want %g", before, mass, want)
		}
	}
	b := burning(NewTrend())
	b.burn(3, line)
	b.Cleaned(b.now)
	if mass, _ := b.burn(0.3, line); !says(mass, "was cleaned") {
		t.Errorf("%+v", mass)
	}
}

// What burns while the loading is bad or the counter is the next run's counts.
func TestTrendGaps(t *testing.T) {
	b := burning(NewTrend())
	on := func(float64) float64 { return line(b.kg) }
	b.burn(2, on)
	b.dead = true
	if mass, _ := b.burn(1, on); mass.Status != sensors.Open {
		t.Errorf("%+v", mass)
	}
	b.dead = false
	before := b.kg
	b.kg = 0 // the next run
	mass, _ := b.burn(1, func(float64) float64 { return line(before + b.kg) })
	if want := dueAt - before - b.kg; mass.Status != sensors.Good || math.Abs(mass.Value-want) > mass.Uncertainty+0.05 {
		t.Errorf("%+v, want %g", mass, want)
	}
}

// The window is 25.6 kg: a line that bent 30 kg ago is forgotten.
func TestTrendForgets(t *testing.T) {
	b := burning(NewTrend())
	bent := func(float64) float64 { return min(b.kg, 10)*2 + max(0, b.kg-10)*1.5 }
	mass, _ := b.burn(40, bent)
	if want := (100-20)/1.5 + 10 - b.kg; b.n <= bins || mass.Status != sensors.Good || math.Abs(mass.Value-want) > mass.Uncertainty+0.05 {
		t.Errorf("%d points: %+v, want %g", b.n, mass, want)
	}
}

func TestTrendKeep(t *testing.T) {
	b := burning(NewTrend())
	b.burn(5.02, line)
	text, err := json.Marshal(b.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var k TrendKept
	if err := json.Unmarshal(text, &k); err != nil {
		t.Fatal(err)
	}
	back := burning(NewTrend())
	back.Restore(k)
	loading := pa(line(b.kg), 1)
	want, _ := b.read(loading)
	back.kg = 12 // the counter is another's
	got, _ := back.read(loading)
	if got.Status != sensors.Good || math.Abs(got.Value-want.Value) > 1e-3 || math.Abs(got.Uncertainty-want.Uncertainty) > 1e-3 {
		t.Errorf("%+v, want %+v", got, want)
	}
	mass, _ := back.burn(1, func(kg float64) float64 { return line(b.kg + kg) })
	if math.Abs(mass.Value-(want.Value-1)) > 0.15 {
		t.Errorf("1 kg on: %g, before %g", mass.Value, want.Value)
	}
}

func TestTrendRestoreNonsense(t *testing.T) {
	for _, kg := range []float64{-1, math.NaN(), math.Inf(1)} {
		b := NewTrend()
		if b.Restore(TrendKept{KG: kg, Points: []Point{{0, 1}}}); b.n != 0 || b.kg != 0 {
			t.Errorf("%g kg: %d points", kg, b.n)
		}
	}
	b := NewTrend()
	b.Restore(TrendKept{KG: 2, Points: []Point{{-1, 1}, {0.1, 1}, {math.NaN(), 1}, {0.2, math.Inf(1)}, {0.3, 3}, {2.1, 4}}})
	if b.n != 2 || b.points[1] != (Point{0.3, 3}) || b.kg != 2 {
		t.Errorf("%d points, %g kg", b.n, b.kg)
	}
}

// Nonsense is left out point by point.
func FuzzTrendRestore(f *testing.F) {
	f.Add(5.0, 1.0, 10.0, uint16(3))
	f.Add(math.NaN(), 1.0, 10.0, uint16(3))
	f.Add(1e6, math.Inf(1), math.NaN(), uint16(300))
	f.Fuzz(func(t *testing.T, kg, x, y float64, n uint16) {
		k := TrendKept{KG: kg}
		for i := range int(n) % 1000 {
			k.Points = append(k.Points, Point{x * float64(i), y * float64(i)})
		}
		b := burning(NewTrend())
		b.Restore(k)
		mass, left := b.burn(0.5, line)
		for _, r := range []sensors.Reading{mass, left} {
			if (r.Status == sensors.Good) == math.IsNaN(r.Value) || r.Value < 0 || math.IsInf(r.Value, 0) || math.IsNaN(r.Uncertainty) {
				t.Errorf("%+v", r)
			}
		}
		if _, err := json.Marshal(b.Keep()); err != nil {
			t.Error(err)
		}
	})
}

func TestTrendNoAllocation(t *testing.T) {
	b := burning(NewTrend())
	b.burn(30, func(float64) float64 { return line(b.kg) })
	loading, all, rate, buf := pa(line(b.kg), 1), pa(b.kg, 0), pa(1.41, 0.1), make([]sensors.Reading, 0, 2)
	off := sensors.Bad("charcoal_flow", noon, sensors.Unknown, errIdle)
	if n := testing.AllocsPerRun(3000, func() {
		all.Value += 0.001
		loading.Value = line(all.Value)
		b.Step(b.now, loading, all, rate)
		b.Step(b.now, loading, all, &off)
		buf = b.Readings(buf[:0])
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
