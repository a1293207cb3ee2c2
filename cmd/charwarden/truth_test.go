package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// truthRig is the simulated rig behind the core, with noisy sensors and without
// buses: hours of it in seconds. What the core reckons is held against what the
// rig knows.
type truthRig struct {
	*testing.T
	*sim.Rig
	core     *core
	readings []sensors.Reading
	rng      *rand.Rand
	start    time.Time
	now      time.Time
}

func newTruthRig(t *testing.T, seed uint64, plan sim.Plan, change ...string) *truthRig {
	start := time.Date(2026, 6, 1, 7, 0, 0, 0, time.UTC)
	// The nozzle was calibrated on an earlier day: what gas flowed at what suction.
	// The same seed is the same nozzle.
	earlier := sim.NewRig(start, sim.DefaultPlan(), seed)
	var root, gas float64
	for m := 20 * 60; m < 70*60; m++ {
		at := start.Add(time.Duration(m) * time.Second)
		root += math.Sqrt(earlier.Suction(at)) / 3000
		gas += earlier.GasFlow(at) / 3000
	}
	suction := root * root
	text := strings.NewReplacer(append(change, `bore = "12.7 mm"`, fmt.Sprintf(`gas = "%.3f Nm3/h"`, gas),
		`clean = "520 Pa"`, fmt.Sprintf(`clean = "%.1f Pa"`, suction), `clean = "125 Pa"`, "")...).Replace(string(config.Reference()))
	cfg, err := config.Parse("rig.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	c, err := newCore(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return &truthRig{T: t, Rig: sim.NewRig(start, plan, seed), core: c, readings: make([]sensors.Reading, len(cfg.Channels)),
		rng: rand.New(rand.NewPCG(seed, 7)), start: start, now: start}
}

// pass plays the rig up to a time of it, a tick a second.
func (r *truthRig) pass(until time.Duration, look func(at time.Duration)) {
	places := map[string]struct {
		of       func(time.Time) float64
		noise, u float64
	}{
		"wall_near": {r.WallNear, 0.3, 2}, "wall_far": {r.WallFar, 0.3, 2}, "gas_out": {r.GasOut, 0.3, 2}, "filter_in": {r.FilterIn, 0.3, 2},
		"filter_out": {r.FilterOut, 0.3, 2}, "return_line": {r.ReturnLine, 0.3, 2}, "suction": {r.Suction, 2, 5}, "filter_drop": {r.FilterDrop, 2, 5},
		"co": {r.CO, 0.5, 3}, "speed": {r.Speed, 10, 10}, "air_temp": {r.AirTemp, 0.1, 1}, "air_pressure": {r.AirPressure, 20, 200},
		"air_humidity": {r.AirHumidity, 0.005, 0.03},
	}
	for ; r.now.Sub(r.start) < until; r.now = r.now.Add(time.Second) {
		for i, ch := range r.core.cfg.Channels {
			p, known := places[ch.Name]
			v := 5.0 // the supply, and what else the board says
			if known {
				v = p.of(r.now) + p.noise*r.rng.NormFloat64()
			}
			r.readings[i] = sensors.Reading{Channel: ch.Name, At: r.now, Value: v, Raw: v, Uncertainty: p.u, Cold: math.NaN(), Status: sensors.Good}
		}
		r.core.step(r.now, r.readings, instrument{})
		if look != nil {
			look(r.now.Sub(r.start))
		}
	}
}

// value is the newest of a channel; NaN unless it is good.
func (r *truthRig) value(channel string) float64 {
	x := r.core.reading(channel)
	if x == nil || x.Status != sensors.Good {
		return math.NaN()
	}
	return x.Value
}

// Six hours at the pump with steps of load, refuelling, gusts and noise.
func TestSixHours(t *testing.T) {
	for _, seed := range []uint64{1, 2, 3} {
		r := newTruthRig(t, seed, sim.DayPlan(), `return = "10 %"`, `return = "15 %"`, `moisture = "5 %"`, `moisture = "6 %"`)
		if err := r.core.cleaned(r.start); err != nil {
			t.Fatal(err)
		}
		if err := r.core.hopper.Weighed(6); err != nil {
			t.Fatal(err)
		}
		filled := map[time.Duration]float64{2 * time.Hour: 3.5, 4 * time.Hour: 3.2}
		var flow, truly, loading, dust mean
		r.pass(6*time.Hour, func(at time.Duration) {
			if kg := filled[at]; kg > 0 {
				if err := r.core.hopper.Filled(kg); err != nil {
					t.Error(err)
				}
			}
			if at < 30*time.Minute { // the filter is being learned
				return
			}
			flow.add(r.value("gas_flow"))
			truly.add(r.GasFlow(r.now))
			loading.add(r.value("filter_loading"))
			dust.add((r.FilterLoad(r.now) - 1) * 50)
			if left, real := r.value("charcoal_left"), r.CharcoalLeft(r.now); !(math.Abs(left-real) <= 0.05*real) {
				t.Errorf("seed %d at %v: %.3f kg left, truly %.3f", seed, at, left, real)
			}
			if at%(10*time.Minute) != 0 {
				return
			}
			q, q0, l, l0 := flow.take(), truly.take(), loading.take(), dust.take()
			fmt.Printf("%6v flow %6.2f true %6.2f %+.1f%%  load %6.1f true %6.1f %+.1f%%  left %+.1f%% %.3f %.2f %.0f (%.2f %.0f)\n", at, q, q0, 100*(q/q0-1), l, l0, 100*(l/l0-1), 100*(r.value("charcoal_left")/r.CharcoalLeft(r.now)-1), r.ReturnShare(r.now), r.Strength(r.now)/1e6, r.BedExit(r.now), r.core.hearth.HeatWet/1e6, r.core.hearth.BedExit)
		})
	}
}

// mean of what is added; NaN if any of it is.
type mean struct{ sum, n float64 }

func (m *mean) add(v float64) { m.sum, m.n = m.sum+v, m.n+1 }

func (m *mean) take() float64 {
	v := m.sum / m.n
	*m = mean{}
	return v
}
