package sim

import (
	"strings"
	"testing"
	"time"
)

// shown is what a channel is taken to have moved by, in its unit or, below 1,
// as a share.
var shown = map[string]struct {
	of    func(*Rig, time.Time) float64
	moved float64
}{
	"near":    {(*Rig).WallNear, 6},
	"far":     {(*Rig).WallFar, 6},
	"out":     {(*Rig).GasOut, 8},
	"in":      {(*Rig).FilterIn, 3},
	"behind":  {(*Rig).FilterOut, 5},
	"return":  {(*Rig).ReturnLine, 6},
	"suction": {(*Rig).Suction, 0.05},
	"drop":    {(*Rig).FilterDrop, 0.05},
	"speed":   {(*Rig).Speed, 5},
	"co":      {(*Rig).CO, 3},
	// At equal flow, as one compares by the trade.
	"nozzle": {func(r *Rig, t time.Time) float64 { return r.Suction(t) / (r.GasFlow(t) * r.GasFlow(t)) }, 0.05},
	"filter": {func(r *Rig, t time.Time) float64 { return r.FilterDrop(t) / r.EngineFlow(t) }, 0.05},
}

// mean of what is shown from a rig time for a while.
func mean(r *Rig, name string, from, lasts time.Duration) float64 {
	sum, n := 0.0, 0.0
	watch(from, from+lasts, func(_ time.Duration, now time.Time) {
		sum += shown[name].of(r, now)
		n++
	})
	return sum / n
}

// Faults move the channels the way that the trade's list of faults says: after
// the text of FAO Forestry Paper 72 (1986), Ergun's law for a bed and the orifice
// law; reasoned, not measured on a rig. "near+" is up, "near-" down, "near="
// steady, against the same run without it. What counts as moved is our own.
//
// The rig is governed, the list thinks of an engine at full throttle that
// starves. Where these differ the rig's laws stand: the governor makes up for
// weak gas, so that hot leak, bridge and wet charcoal draw more gas and their
// drop rises, and a hot leak's suction is low only at equal flow; fines leave
// the drop as it is; and a cold leak that the mixer's air can make up for moves
// neither wall, gas outlet nor suction, where the list has them fall, and no
// drop if it is behind the filter.
func TestFaultSigns(t *testing.T) {
	const begin, stop = 46 * time.Minute, 81 * time.Minute
	for _, c := range []struct {
		fault       string
		at          time.Duration
		from, lasts time.Duration // after begin
		signs       string
	}{
		{"filter-clog", begin, 5 * time.Minute, time.Minute, "near= out= in= suction= drop+ filter+ co= return="},
		{"wet-charcoal", begin, 2 * time.Minute, time.Minute, "near- drop+ speed- return="},
		{"filter-tar", begin, 8 * time.Minute, time.Minute, "near= out= in= drop+ filter+ co= return="},
		{"filter-hole", begin, 5 * time.Second, time.Minute, "near= out= in= drop- filter- co= return="},
		{"filter-fire", begin, 5 * time.Minute, time.Minute, "behind+ drop+ filter+ speed- suction-"},
		{"filter-fire", begin, 11 * time.Minute, time.Minute, "behind+ filter- speed- suction-"},
		{"cooler-dirty", begin, 9 * time.Minute, time.Minute, "near= out= in+ drop+ speed- co= return="},
		{"fines", begin, 9 * time.Minute, time.Minute, "near= out= in= suction+ nozzle+ filter= co= return="},
		{"clinker", begin, 9 * time.Minute, time.Minute, "near+ far- suction+ nozzle+ speed- co="},
		{"nozzle-blocked", begin, 5*time.Minute + 50*time.Second, 10 * time.Second, "suction+ nozzle+ drop- speed- co="},
		{"nozzle-blocked", begin, 9 * time.Minute, time.Minute, "near- out- in-"},
		{"bridge", begin, 8 * time.Minute, time.Minute, "near+ out+ in+ suction- nozzle- speed- co="},
		{"hopper-empty", begin, 5 * time.Minute, time.Minute, "out+ in+ speed- co="},
		{"leak-hot", begin, 8 * time.Minute, time.Minute, "far+ out+ in+ nozzle- speed- co="},
		{"leak-cold-before", begin, 3 * time.Minute, 30 * time.Second, "near= out= suction= nozzle= drop+ filter="},
		{"leak-cold-after", begin, 3 * time.Minute, 30 * time.Second, "near= out= suction= nozzle= drop= filter="},
		{"return-stuck", begin, 5 * time.Minute, time.Minute, "near+ suction- speed+ co= return-"},
		{"return-big", begin, 8 * time.Minute, time.Minute, "near- suction+ speed- co="},
		{"wall-hot", begin, 5 * time.Minute, time.Minute, "near+ out+ suction+ co="},
		{"co-rise", begin, 2 * time.Minute, time.Minute, "near= far= out= in= suction= drop= speed= co+ return="},
		{"lid-open", begin, 0, 3 * time.Second, "co+"},
		{"lid-open", begin, 90 * time.Second, 30 * time.Second, "near- out+ suction- speed-"},
		{"idle-long", begin, 8 * time.Minute, time.Minute, "near- out- in- suction- drop- co= return-"},
		{"nozzle-worn", 0, 5 * time.Minute, time.Minute, "near+ out= in= suction- nozzle- drop= speed= co= return="},
		{"couple-drift", begin, 5 * time.Minute, time.Minute, "near- far= out= in= suction= drop= speed= co= return="},
		{"tap-blocked", begin, 29 * time.Minute, time.Minute, "near= far= out= in= suction= drop+ speed= co= return="}, // the load is lower by then
		// After the stop.
		{"return-left-open", begin, stop + 55*time.Minute - begin, time.Minute, "near+ far+ out+"},
		{"return-left-open", begin, stop + 4*time.Minute - begin, time.Minute, "speed= co+"},
		{"seal-leak", begin, stop + 30*time.Minute - begin, time.Minute, "far+ out+"},
		{"seal-leak", begin, stop + 2*time.Minute - begin, time.Minute, "co+"},
		{"leak-hot", begin, stop + 2*time.Minute - begin, time.Minute, "far+ co+"},
		{"gas-escapes", 0, 9*time.Minute - begin, 30 * time.Second, "suction- co+ speed="}, // the blower pushes
		{"gas-escapes", 0, stop + 2*time.Minute - begin, time.Minute, "suction- co+ speed="},
	} {
		for seed := range uint64(2) {
			bad, good := NewRig(dawn, DefaultPlan(), seed), NewRig(dawn, DefaultPlan(), seed)
			if err := bad.Inject(c.fault, c.at); err != nil {
				t.Fatal(err)
			}
			for _, s := range strings.Fields(c.signs) {
				name, want := s[:len(s)-1], s[len(s)-1]
				a, b := mean(bad, name, begin+c.from, c.lasts), mean(good, name, begin+c.from, c.lasts)
				by := shown[name].moved
				if by < 1 {
					by *= max(b, -b)
				}
				got := byte('=')
				if a > b+by {
					got = '+'
				} else if a < b-by {
					got = '-'
				}
				if got != want {
					t.Errorf("%s, seed %d, %s after %s: %.4g with it, %.4g without, want %c", c.fault, seed, name, c.from, a, b, want)
				}
			}
		}
	}
}

// A backfire is short: pressure up, a cough of the engine, a puff of CO, within
// seconds; cold leaks bring it on.
func TestBackfire(t *testing.T) {
	for _, fault := range []string{"backfire", "leak-cold-before", "leak-cold-after"} {
		r := NewRig(dawn, DefaultPlan(), 3)
		if err := r.Inject(fault, 30*time.Minute); err != nil {
			t.Fatal(err)
		}
		least, most, slowest := 1e9, 0.0, 1e9
		for at := 30 * time.Minute; at < 50*time.Minute; at += rigStep {
			now := dawn.Add(at)
			least, most, slowest = min(least, r.Suction(now)), max(most, r.CO(now)), min(slowest, r.Speed(now))
		}
		if least > -200 || most < 20 || slowest > 2960 {
			t.Errorf("%s: suction down to %.0f Pa, CO up to %.0f ppm, %.0f rpm", fault, least, most, slowest)
		}
		if now := dawn.Add(50 * time.Minute); r.Speed(now) < 2800 {
			t.Errorf("%s: the engine is dead", fault)
		}
	}
}

// What a rap and a shake can do: a bridge comes down, loose dust falls, tar stays.
func TestTapAndShake(t *testing.T) {
	plan := DefaultPlan()
	plan.Acts = append(plan.Acts, Act{40 * time.Minute, Tap, 1, ""}, Act{47 * time.Minute, Shake, 1, ""})
	after := dawn.Add(48 * time.Minute)
	for _, c := range []struct {
		fault   string
		of      func(*Rig, time.Time) float64
		recover bool
	}{{"bridge", (*Rig).GasOut, true}, {"filter-tar", (*Rig).FilterLoad, false}, {"filter-clog", (*Rig).FilterLoad, true}} {
		r, idle, good := NewRig(dawn, plan, 1), NewRig(dawn, DefaultPlan(), 1), NewRig(dawn, plan, 1)
		for _, r := range []*Rig{r, idle} {
			if err := r.Inject(c.fault, 36*time.Minute); err != nil {
				t.Fatal(err)
			}
		}
		helped := (c.of(idle, after) - c.of(r, after)) / (c.of(idle, after) - c.of(good, after))
		if c.recover != (helped > 0.4) {
			t.Errorf("%s: %.2f of it gone", c.fault, helped)
		}
	}
}
