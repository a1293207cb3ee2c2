package diagnosis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/diagnosis"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/sim"
)

var dawn = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// drive feeds a Finder from the simulated rig, with the noise of a board.
type drive struct {
	rig   *sim.Rig
	f     *diagnosis.Finder
	phase *phase.Finder
	rng   *rand.Rand
	at    time.Duration
	r     [12]sensors.Reading
	left  float64 // kg, as reckoned from the flow
	in    diagnosis.Inputs
	walls [2]*sensors.Reading
}

func newDrive(seed uint64, kept *diagnosis.Kept) *drive {
	p, err := phase.New(phase.Opts{})
	if err != nil {
		panic(err) // the defaults are constants
	}
	d := &drive{rig: sim.NewRig(dawn, sim.DefaultPlan(), seed), f: diagnosis.New(), phase: p, rng: rand.New(rand.NewPCG(seed, 7)), left: 6}
	if kept != nil {
		d.f.Restore(*kept)
	}
	r := &d.r
	d.in = diagnosis.Inputs{
		WallNear: &r[0], WallFar: &r[1], GasOut: &r[2], FilterIn: &r[3], FilterOut: &r[4], ReturnLine: &r[5],
		Suction: &r[6], FilterDrop: &r[7], CO: &r[8], Speed: &r[9], AirTemp: &r[10], CharcoalLeft: &r[11],
	}
	d.walls = [2]*sensors.Reading{&r[0], &r[1]}
	return d
}

const beat = time.Second / 2

// until drives up to a rig time; each, if any, is called after every step.
func (d *drive) until(to time.Duration, each func(now time.Time, p phase.Phase)) {
	g := d.rig
	for ; d.at <= to; d.at += beat {
		now := dawn.Add(d.at)
		for i, c := range [...]struct {
			v, noise float64
		}{
			{g.WallNear(now), 0.5}, {g.WallFar(now), 0.5}, {g.GasOut(now), 0.5}, {g.FilterIn(now), 0.3}, {g.FilterOut(now), 0.3}, {g.ReturnLine(now), 0.5},
			{g.Suction(now), 2}, {g.FilterDrop(now), 2}, {g.CO(now), 0.5}, {g.Speed(now), 4}, {g.AirTemp(now), 0.1},
		} {
			v := c.v + c.noise*d.rng.NormFloat64()
			d.r[i] = sensors.Reading{At: now, Value: v, Raw: v, Status: sensors.Good}
		}
		// 0.028 kg/min at 550 Pa, with the root of suction.
		d.left -= 0.0012 * math.Sqrt(max(0, g.Suction(now))) * beat.Minutes()
		d.r[11] = sensors.Reading{At: now, Value: d.left, Raw: d.left, Status: sensors.Good}
		p := d.phase.Step(now, phase.Inputs{Speed: &d.r[9], Walls: d.walls[:], GasOut: &d.r[2], Suction: &d.r[6]})
		d.f.Step(now, d.in, p)
		if each != nil {
			each(now, p)
		}
	}
}

// learned is the reference after three healthy runs of the rig.
var learned = sync.OnceValue(func() diagnosis.Kept {
	var kept diagnosis.Kept
	for seed := range uint64(3) {
		d := newDrive(9000+seed, &kept)
		d.until(3*time.Hour, nil)
		kept = d.f.Keep()
	}
	return kept
})

// top is the first finding that is a fault or, with idle, an engine that idles.
func top(f *diagnosis.Finder, buf []diagnosis.Finding, idle bool) (diagnosis.Finding, bool) {
	all := f.Findings(buf[:0])
	i := slices.IndexFunc(all, func(g diagnosis.Finding) bool { return !g.Cause.Normal() || idle && g.Cause == diagnosis.LongIdle })
	if i < 0 {
		return diagnosis.Finding{}, false
	}
	return all[i], true
}
