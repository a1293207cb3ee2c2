package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"charwarden/sensors/sim"
)

// soakDays are the days of a soak's rig, one after the other: two short runs on
// one, a long one with refuelling on the next, cold at the end of each. Things
// go wrong all the time and come right again.
type soakDays struct {
	rig   *simRig
	seed  uint64
	start time.Time

	mu   sync.Mutex
	told []string // since it was last asked
}

const soakDay = 24 * time.Hour

// soakPlan is what the operator does on a day.
func soakPlan(day int) sim.Plan {
	if day%2 == 1 {
		return sim.DayPlan()
	}
	const again = 7 * time.Hour
	p := sim.DefaultPlan()
	p.Hopper = 8
	p.Acts = append(p.Acts, sim.Act{At: again - time.Minute, Control: sim.Seal}, sim.Act{At: again - 50*time.Second, Control: sim.Fill, To: 5})
	for _, a := range sim.DefaultPlan().Acts {
		a.At += again
		p.Acts = append(p.Acts, a)
	}
	return p
}

// soakTroubles are the rig's own faults of a day: one in the morning, whose
// traces the afternoon goes on with, and one later.
func soakTroubles(day int, rng *rand.Rand) []fault {
	all := sim.FaultNames()
	one := func(after time.Duration) fault {
		return fault{all[rng.IntN(len(all))].Name, after + time.Duration(rng.IntN(40))*time.Minute}
	}
	if day%2 == 1 {
		return []fault{one(time.Hour), one(4 * time.Hour)}
	}
	return []fault{one(25 * time.Minute), one(7*time.Hour + 20*time.Minute)}
}

func (d *soakDays) say(text string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.told = append(d.told, text)
}

// happened is what went wrong since it was last asked.
func (d *soakDays) happened() (told []string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	told, d.told = d.told, nil
	return told
}

// live lets day follow day until ctx ends.
func (d *soakDays) live(ctx context.Context) {
	for day := 0; ctx.Err() == nil; day++ {
		begin := d.start.Add(time.Duration(day) * soakDay)
		d.rig.clock.Sleep(ctx, begin.Sub(d.rig.clock.Now()))
		rng := rand.New(rand.NewPCG(d.seed, uint64(day)))
		d.rig.Restart(begin, soakPlan(day), d.seed) // the same seed: one site, whose weather takes no leap at midnight
		for _, f := range soakTroubles(day, rng) {
			if err := d.rig.Inject(f.name, f.at); err != nil {
				panic(err)
			}
			d.say(fmt.Sprintf("day %d: %s from %v on", day, f.name, f.at))
		}
	}
}

// breakThings breaks a wire, a chip or a bus in every hour and mends all before its
// end, so that what is measured at full hours is a rig at rest.
func (d *soakDays) breakThings(ctx context.Context) {
	rng := rand.New(rand.NewPCG(d.seed, 1<<32))
	wires := slices.DeleteFunc(wireFaults(), func(f wireFault) bool { return f.name == "broker-gone" }) // the soak's broker is a real one
	for hour := time.Duration(0); ctx.Err() == nil; hour++ {
		f := wires[rng.IntN(len(wires))]
		at := time.Duration(5+rng.IntN(30)) * time.Minute
		d.rest(ctx, hour*time.Hour+at)
		if ctx.Err() != nil {
			return
		}
		d.say(f.name)
		f.do(ctx, d.rig)
		d.rest(ctx, hour*time.Hour+50*time.Minute)
		d.rig.mend()
	}
}

// rest waits until a time of the rig.
func (d *soakDays) rest(ctx context.Context, at time.Duration) {
	d.rig.clock.Sleep(ctx, d.start.Add(at).Sub(d.rig.clock.Now()))
}

// mend takes back whatever wireFaults do that does not pass by itself.
func (s *simRig) mend() {
	for _, c := range s.couples {
		c.SetCouple(sim.Whole)
	}
	for _, a := range s.adcs {
		a.SetClockError(0)
		for input := range 4 {
			a.Free(input)
		}
	}
	s.sag.Store(false)
	s.board.Flip(s.cfg.ADCs[0].Bus, 0)
	s.board.Flip(s.cfg.Thermocouples[0].Port, 0)
}
