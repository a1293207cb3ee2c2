package alarms

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/sim"
)

// eye watches one rule without states: it only tells when it would be raised.
type eye struct {
	*Rule
	failed []bool
	past   history
	was    bool
	held   time.Duration
	raised bool
}

func (e *eye) look(now time.Time, passed time.Duration, ph phase.Phase, at map[string]*sensors.Reading) (raised bool) {
	watches := true
	for i := range e.While {
		w := &e.While[i]
		e.failed[i] = w.fails(ph, at[w.Channel], e.failed[i])
		watches = watches && !e.failed[i]
	}
	v := evidence{now: now, own: at[e.Channel], other: at[e.Other], was: e.was}
	if e.Kind.windowed() {
		v.past = &e.past
	}
	c, _ := e.judge(v)
	if c != unproved || !watches { // what it saw before it watches proves nothing
		e.was = c == present
	}
	if !watches || !e.was {
		e.held = 0
		return false
	}
	raised = e.held >= e.OnDelay && !e.raised
	e.raised = e.raised || raised
	e.held += passed
	return raised
}

// play watches the simulated rig for 105 min by every rule that its channels feed,
// with noise on them, and returns the rules above notice in the order in which
// they are raised. lie may change what is seen from 40 min on.
func play(t *testing.T, seed uint64, fault string, lie func(at time.Duration, r map[string]*sensors.Reading)) (names []string) {
	start := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
	r := sim.NewRig(start, sim.DefaultPlan(), seed)
	ref := start.Add(19 * time.Minute) // the second line of sprinklers is open
	clean := filter.Clean{Drop: r.FilterDrop(ref), Suction: r.Suction(ref)}
	if fault != "" {
		if err := r.Inject(fault, 40*time.Minute); err != nil {
			t.Fatal(err)
		}
	}
	loading, err := filter.New(filter.Opts{Clean: clean})
	if err != nil {
		t.Fatal(err)
	}
	finder, err := phase.New(phase.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	dose := exposure.New("co", exposure.Opts{})
	places := map[string]struct {
		of    func(time.Time) float64
		noise float64
	}{
		"wall_near": {r.WallNear, 0.3}, "wall_far": {r.WallFar, 0.3}, "gas_out": {r.GasOut, 0.3},
		"filter_in": {r.FilterIn, 0.3}, "filter_out": {r.FilterOut, 0.3}, "return_line": {r.ReturnLine, 0.3},
		"suction": {r.Suction, 0.5}, "filter_drop": {r.FilterDrop, 0.5}, "co": {r.CO, 0.5}, "speed": {r.Speed, 5},
	}
	seen := map[string]*sensors.Reading{}
	for name := range places {
		seen[name] = &sensors.Reading{}
	}
	for _, c := range exposure.Channels("co") {
		seen[c.Name] = &sensors.Reading{}
	}
	seen[filter.Channel] = &sensors.Reading{}
	var eyes []*eye
	rules := rigRules(clean.Suction)
	for i := range rules {
		if seen[rules[i].Channel] != nil && rules[i].Kind != Fault && rules[i].Priority > Notice {
			eyes = append(eyes, &eye{Rule: &rules[i], failed: make([]bool, len(rules[i].While))})
		}
	}
	const step = 2 * time.Second
	noise := rand.New(rand.NewPCG(seed, 1))
	var means []sensors.Reading
	for at := time.Duration(0); at <= 105*time.Minute; at += step {
		now := start.Add(at)
		for _, name := range []string{"wall_near", "wall_far", "gas_out", "filter_in", "filter_out", "return_line", "suction", "filter_drop", "co", "speed"} {
			v := places[name].of(now) + places[name].noise*noise.NormFloat64()
			*seen[name] = sensors.Reading{Channel: name, At: now, Value: v, Raw: v, Status: sensors.Good}
		}
		if lie != nil && at >= 40*time.Minute {
			lie(at, seen)
		}
		ph := finder.Step(now, phase.Inputs{
			Speed: seen["speed"], Walls: []*sensors.Reading{seen["wall_near"], seen["wall_far"]},
			GasOut: seen["gas_out"], Suction: seen["suction"],
		})
		*seen[filter.Channel] = loading.Step(now, filter.Inputs{Drop: seen["filter_drop"], Suction: seen["suction"], Temp: seen["filter_in"]})
		dose.Step(now, seen["co"])
		means = dose.Readings(means[:0])
		for _, m := range means {
			*seen[m.Channel] = m
		}
		for _, e := range eyes {
			if e.look(now, step, ph, seen) {
				names = append(names, e.Name)
			}
		}
	}
	return names
}

// An ordinary afternoon raises nothing above a notice.
func TestOrdinaryRunIsQuiet(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		if got := play(t, seed, "", nil); got != nil {
			t.Errorf("seed %d: %v", seed, got)
		}
	}
}

// set makes a channel show v; times makes it show so many times what it is.
func set(r map[string]*sensors.Reading, name string, v float64) { r[name].Value, r[name].Raw = v, v }
func times(r map[string]*sensors.Reading, name string, by float64) {
	set(r, name, r[name].Value*by)
}

// Each fault calls first by the rules that lead to its cause, and only those
// that must stop the engine do. What the simulated rig cannot do is seen as the
// trade describes it. F01 to F27 are the trade's numbers of its faults.
func TestFaultsCallFirst(t *testing.T) {
	t.Parallel()
	const from = 40 * time.Minute
	rules := rigRules(500)
	for _, c := range []struct {
		id, fault string
		lie       func(at time.Duration, r map[string]*sensors.Reading)
		want      []string
	}{
		{"F01 filter loading", "", func(at time.Duration, r map[string]*sensors.Reading) {
			times(r, "filter_drop", min(1.5, 1+(at-from).Minutes()/50))
		}, []string{"filter_drop_caution", "filter_loading_caution"}},
		{"F02 wet filter", "wet-charcoal", nil, []string{"filter_drop_caution", "filter_loading_wet"}},
		{"F04 hole", "filter-hole", nil, []string{"filter_loading_hole"}},
		{"F05 filter fire", "", func(at time.Duration, r map[string]*sensors.Reading) {
			set(r, "filter_out", r["filter_out"].Value+min(200, (at-from).Minutes()*40))
		}, []string{"filter_out_fire"}},
		{"F07 fines in the bed", "", func(at time.Duration, r map[string]*sensors.Reading) {
			bed := min(1, (at-from).Minutes()/10)
			times(r, "suction", 1+1.5*bed)
			times(r, "filter_drop", 1-0.35*bed)
		}, []string{"suction_caution"}},
		{"F09 blocked nozzle", "", func(_ time.Duration, r map[string]*sensors.Reading) {
			times(r, "suction", 3.5)
			times(r, "filter_drop", 0.5)
		}, []string{"suction_caution", "suction_alarm"}},
		{"F10 void", "", func(at time.Duration, r map[string]*sensors.Reading) {
			void := min(1, (at-from).Minutes()/5)
			times(r, "suction", 1-0.4*void)
			set(r, "gas_out", r["gas_out"].Value+300*void)
			set(r, "wall_near", r["wall_near"].Value+80*void)
		}, []string{"gas_out_caution"}},
		{"F11 hopper empty", "hopper-empty", nil, []string{"gas_out_caution", "filter_in_caution"}},
		{"F14 return plugged", "return-stuck", nil, []string{"return_line_cold"}},
		{"F16 return open at the stop, F25 leaky lid", "", func(at time.Duration, r map[string]*sensors.Reading) {
			if at > 80*time.Minute {
				set(r, "wall_far", 320-(at-80*time.Minute).Minutes())
			}
		}, []string{"wall_far_cooling"}},
		{"F17 gas after the stop", "", func(at time.Duration, r map[string]*sensors.Reading) {
			if at > 80*time.Minute {
				set(r, "co", 60)
			}
		}, []string{"co_caution"}},
		{"F18 exhaust at the operator", "co-rise", nil, []string{"co_caution", "co_alarm", "co_evacuate"}},
		{"F26 couple shorted", "", func(_ time.Duration, r map[string]*sensors.Reading) {
			set(r, "wall_far", 25)
		}, []string{"wall_far_doubt"}},
		{"F26 plugs swapped", "", func(_ time.Duration, r map[string]*sensors.Reading) {
			*r["filter_in"], *r["gas_out"] = *r["gas_out"], *r["filter_in"]
		}, []string{"filter_in_alarm", "filter_in_stop", "filter_in_caution", "filter_in_doubt"}},
		{"F27 plugged tap", "", func(_ time.Duration, r map[string]*sensors.Reading) {
			set(r, "filter_drop", 150)
		}, []string{"filter_drop_plugged"}},
		{"hot wall", "wall-hot", nil, []string{"suction_caution", "suction_alarm", "wall_near_projected"}},
	} {
		got := play(t, 4, c.fault, c.lie)
		if len(got) < len(c.want) || !slices.Equal(got[:len(c.want)], c.want) {
			t.Errorf("%s: %v, want %v first", c.id, got, c.want)
			continue
		}
		for _, name := range got[len(c.want):] {
			if named(t, rules, name).Stops && c.fault != "wall-hot" && c.fault != "co-rise" {
				t.Errorf("%s: %s stops the engine", c.id, name)
			}
		}
	}
}

var errPlug = errors.New("plug")

// Three minutes with the lid open (F19) stop suction, move the walls and say
// nothing; a couple that gives no value (F26) is the fault rule's alone.
func TestRefuellingIsQuiet(t *testing.T) {
	t.Parallel()
	for seed := range uint64(2) {
		got := play(t, seed, "", func(at time.Duration, r map[string]*sensors.Reading) {
			open := at - 50*time.Minute
			if open < 0 || open > 3*time.Minute {
				return
			}
			times(r, "suction", 0.15)
			times(r, "filter_drop", 0.6)
			set(r, "wall_near", r["wall_near"].Value-15)
			set(r, "gas_out", r["gas_out"].Value+60)
			if open < 15*time.Second {
				set(r, "co", 90)
			}
		})
		if got != nil {
			t.Errorf("seed %d: refuelling: %v", seed, got)
		}
		got = play(t, seed, "", func(at time.Duration, r map[string]*sensors.Reading) {
			*r["wall_far"] = sensors.Bad("wall_far", r["wall_far"].At, sensors.Open, errPlug)
		})
		if got != nil {
			t.Errorf("seed %d: open couple: %v", seed, got)
		}
	}
}
