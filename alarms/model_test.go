package alarms

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// errUnfit stands for a refusal that has no name: of a time or a reason.
var errUnfit = errors.New("unfit")

// sameError compares the reasons of two refusals.
func sameError(got, want error) bool {
	var a, b *SeqError
	if errors.As(want, &b) {
		return errors.As(got, &a) && *a == *b
	}
	if want == errUnfit {
		return got != nil && !errors.Is(got, ErrNever) && !errors.Is(got, ErrHidden)
	}
	return want == nil && got == nil || want != nil && errors.Is(got, want)
}

// yard is the channels of the model.
var yard = []sensors.Channel{{Name: "pump"}, {Name: "well"}, {Name: "gate"}}

// randomRule has a limit near the values and short delays, so that everything
// happens often. Where the slope counts, the limit is one that no slope meets
// exactly, since two ways to reckon it differ in the last digit.
func randomRule(r *rand.Rand, i int) Rule {
	seconds := func() time.Duration { return time.Duration(r.IntN(4)*r.IntN(4)) * 500 * time.Millisecond }
	own, other := "pump", "well"
	if r.IntN(2) == 0 {
		own, other = other, own
	}
	rule := Rule{
		Name: own + "_" + string(rune('a'+i)), Channel: own,
		Kind: Kind(r.IntN(int(kinds))), Priority: Priority(r.IntN(int(Evacuate))),
		OnDelay: seconds(), OffDelay: seconds(), ReAlarm: seconds(), Latch: r.IntN(2) == 0,
		Never: r.IntN(8) == 0,
		Means: "a test", DoFirst: "read the test",
	}
	if rule.Kind.Limited() {
		rule.Limit = map[Kind]float64{Above: 10, Below: 10, Rate: 10.0317, Projected: 10.0317,
			Deviation: 1.5, Exceeds: 1, SlowFall: 1, Frozen: 1}[rule.Kind]
		rule.Deadband = float64(r.IntN(3)) / 2
	}
	if rule.Kind.compares() {
		rule.Other = other
	}
	if rule.Kind == Frozen {
		rule.OtherMoved = 1.5
	}
	if rule.Kind.windowed() {
		rule.Window = []time.Duration{2, 4, 8, 40, 64}[r.IntN(5)] * time.Second
	}
	if rule.Kind == Projected {
		rule.Within = 5 * time.Second
	}
	for range r.IntN(3) {
		if rule.Never {
			break
		}
		w := While{Phases: []phase.Phase{phase.Running, phase.Sealed}[:1+r.IntN(2)]}
		if r.IntN(2) == 0 {
			w = While{Channel: "gate", Kind: Kind(r.IntN(2)), Limit: 10, Deadband: float64(r.IntN(3)) / 2}
		}
		rule.While = append(rule.While, w)
	}
	return rule
}

// randomSample stays near the limits, holds still half of the time, and is bad
// now and then; the clock stands or goes back now and then.
func randomSample(r *rand.Rand, last *sample) *sample {
	s := &sample{last.at, last.phase, last.readings}
	s.at = last.at.Add(time.Duration(r.IntN(5)) * 500 * time.Millisecond)
	if r.IntN(60) == 0 {
		s.at = last.at.Add(-time.Duration(r.IntN(10)) * time.Second)
	}
	if r.IntN(12) == 0 {
		s.phase = []phase.Phase{phase.Cold, phase.Running, phase.Running, phase.Sealed}[r.IntN(4)]
	}
	for i := range s.readings {
		x := &s.readings[i]
		switch r.IntN(12) {
		case 0:
			x.Status = sensors.Status(r.IntN(len(sensors.Statuses()) + 1))
			x.Value = []float64{math.NaN(), math.Inf(1), 0, 20}[r.IntN(4)]
		case 1, 2, 3, 4, 5:
			x.Status, x.Value, x.AtLeast = sensors.Good, 7+0.5*float64(r.IntN(13)), r.IntN(8) == 0
		}
	}
	return s
}

// duel is an engine beside its naive models.
type duel struct {
	*testing.T
	*rand.Rand
	*Engine
	rules    []Rule
	models   []naive
	shared   *world
	step     int
	now      time.Time
	arrows   map[way]int
	restarts map[State]int
}

// way is a change by what it came of: a step, or what a person did.
type way struct {
	by       string
	from, to State
}

func (d *duel) start() {
	e, err := New(d.rules, yard)
	if err != nil {
		d.Fatal(err)
	}
	d.Engine = e
}

// expect takes the change of model m off got.
func (d *duel) expect(by string, got []Transition, m *naive, from State) []Transition {
	d.arrows[way{by, from, m.state()}]++
	if len(got) == 0 {
		d.Fatalf("step %d, %s: %+v: no change, want %v to %v", d.step, by, m.Rule, from, m.state())
	}
	c := got[0]
	if c.Rule.Name != m.Name || c.From != from || c.State != m.state() || !c.At.Equal(d.now) || c.Restored {
		d.Fatalf("step %d, %s: %v\nwant %s %v to %v", d.step, by, c, m.Name, from, m.state())
	}
	if calls := m.active && !m.seen && m.aside == Normal || m.kept && from >= Shelved; c.Annunciates() != calls {
		d.Fatalf("step %d, %s: %v annunciates %v, want %v", d.step, by, c, c.Annunciates(), calls)
	}
	return got[1:]
}

func (d *duel) sweep(s *sample) {
	got := d.Step(s.at, s.readings[:], s.phase)
	for i := range d.models {
		m := &d.models[i]
		before := m.state()
		if m.step(s); m.state() != before {
			got = d.expect("step", got, m, before)
		}
	}
	if len(got) > 0 {
		d.Fatalf("step %d: %v, want no such change", d.step, got[0])
	}
}

// person does something at random to one alarm, or with test gas to a channel.
func (d *duel) person() {
	m := &d.models[d.IntN(len(d.models))]
	from := m.state()
	var c Transition
	var err, want error
	by := []string{"acknowledge", "acknowledge", "acknowledge", "acknowledge", "reset", "reset", "shelve", "unshelve",
		"remove", "return", "return", "start test", "start test", "start test", "start test", "end test"}[d.IntN(16)]
	switch by {
	case "acknowledge":
		seq := uint64(d.IntN(2))*m.seq + uint64(d.IntN(10)/9)
		want = m.acknowledge(d.now, seq)
		c, err = d.Acknowledge(d.now, m.Name, seq)
	case "reset":
		want = m.reset(d.now)
		c, err = d.Reset(d.now, m.Name)
	case "shelve":
		shelf := []time.Duration{0, 1, 5 * time.Second, 30 * time.Second, MaxShelf, MaxShelf + 1}[d.IntN(6)]
		want = m.shelve(d.now, shelf)
		c, err = d.Shelve(d.now, m.Name, shelf)
	case "unshelve":
		want = m.bring(d.now, Shelved, ErrNotShelved)
		c, err = d.Unshelve(d.now, m.Name)
	case "remove":
		reason := []string{"", " \t", "repair", "repair", "repair"}[d.IntN(5)]
		want = m.remove(d.now, reason)
		c, err = d.Remove(d.now, m.Name, reason)
	case "return":
		want = m.bring(d.now, OutOfService, ErrInService)
		c, err = d.Return(d.now, m.Name)
	default:
		d.gas(by, m.Channel)
		return
	}
	if !sameError(err, want) {
		d.Fatalf("step %d: %s: %s in %v: error %v, want %v", d.step, m.Name, by, from, err, want)
	}
	if want == nil {
		d.expect(by, []Transition{c}, m, from)
	}
}

func (d *duel) gas(by, channel string) {
	if by == "start test" {
		stands := false
		for i := range d.models {
			m := &d.models[i]
			stands = stands || m.Channel == channel && m.called && m.aside == Normal
		}
		if err := d.StartTest(channel); (err != nil) != stands {
			d.Fatalf("step %d: %s of %s: error %v, something stands %v", d.step, by, channel, err, stands)
		}
		if !stands {
			d.shared.testing[channel] = true
		}
		return
	}
	got := d.EndTest(d.now, channel, nil)
	for i := range d.models {
		m := &d.models[i]
		if from := m.state(); m.Channel == channel && m.endTest(d.now) {
			got = d.expect(by, got, m, from)
		}
	}
	d.shared.testing[channel] = false
	if len(got) > 0 {
		d.Fatalf("step %d: %s: %v, want no such change", d.step, by, got[0])
	}
}

// restart goes on with a new engine, by what was kept of the old one.
func (d *duel) restart() {
	text, err := json.Marshal(d.Keep(nil))
	var kept []Kept
	if err == nil {
		err = json.Unmarshal(text, &kept)
	}
	if err != nil {
		d.Fatal(err)
	}
	d.start()
	got, errs := d.Restore(kept)
	if len(errs) > 0 {
		d.Fatalf("step %d: restore: %v", d.step, errs)
	}
	clear(d.shared.testing)
	for i := range d.models {
		m := &d.models[i]
		d.restarts[m.state()]++
		m.restart()
		s := m.state()
		if s == Normal || s.Hidden() {
			continue
		}
		if len(got) == 0 || got[0].Rule.Name != m.Name || got[0].State != s || !got[0].Restored ||
			got[0].Annunciates() != (s == Unacknowledged || s == Latched) {
			d.Fatalf("step %d: restored %v, want %s %v", d.step, got, m.Name, s)
		}
		got = got[1:]
	}
	if len(got) > 0 {
		d.Fatalf("step %d: restored %v, which did not stand", d.step, got)
	}
}

// same says that two figures are the same, but for the last digits of a slope.
func same(a, b float64) bool {
	return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9
}

func (d *duel) compare(into []Alarm) []Alarm {
	into = d.Alarms(into)
	for i, a := range into {
		m := &d.models[i]
		if a.State != m.state() || a.Seq != m.seq || !a.Since.Equal(m.since) || !same(a.Value, m.value()) || a.Order != m.order ||
			a.Hidden != m.hidden || a.Left != m.left() || a.Reason != m.reason || a.Test != m.test {
			d.Fatalf("step %d: %+v\nof %+v\nwant %v seq %d since %v value %v order %d hidden %d left %v reason %q test %v", d.step, a, *a.Rule,
				m.state(), m.seq, m.since, m.value(), m.order, m.hidden, m.left(), m.reason, m.test)
		}
	}
	return into
}

// The engine agrees with the naive model on every change, occurrence, time,
// refusal and snapshot, whatever people do and whenever it is restarted.
func TestAgainstNaiveModel(t *testing.T) {
	const worlds, steps, rules = 1800, 300, 5 // 540 000 steps, 2 700 000 of one alarm
	arrows, restarts := make(map[way]int), make(map[State]int)
	for world := range uint64(worlds) {
		d := newDuel(t, world, rules)
		d.arrows, d.restarts = arrows, restarts
		s := &sample{at: day, phase: phase.Running}
		for i := range s.readings {
			s.readings[i] = sensors.Reading{Channel: yard[i].Name}
		}
		if world%2 == 0 {
			d.gas("start test", "pump")
			d.gas("start test", "well")
		}
		var snapshot []Alarm
		for d.step = range steps {
			s = randomSample(d.Rand, s)
			d.now = s.at
			d.sweep(s)
			if d.IntN(3) > 0 {
				d.person()
			}
			if d.IntN(100) == 0 {
				d.restart()
			}
			snapshot = d.compare(snapshot)
		}
	}
	// 15 by a step, 3, 1, 4, 3, 6 and 3 by a person, 5 by the end of a test: where
	// the condition of B or C is gone, the step that proved it has cleared it.
	if len(arrows) != 40 {
		t.Errorf("%d of 40 arrows reached: %v", len(arrows), arrows)
	}
	for a, n := range arrows {
		if n < 100 {
			t.Errorf("%v to %v by %s was reached only %d times", a.from, a.to, a.by, n)
		}
	}
	for _, s := range States() {
		if restarts[s] < 100 {
			t.Errorf("restarted in %v only %d times", s, restarts[s])
		}
	}
}

func newDuel(t *testing.T, seed uint64, rules int) *duel {
	d := &duel{T: t, Rand: rand.New(rand.NewPCG(2024, seed)), models: make([]naive, rules), shared: &world{testing: make(map[string]bool)}}
	for i := range d.models {
		d.models[i] = naive{Rule: randomRule(d.Rand, i), world: d.shared}
		d.rules = append(d.rules, d.models[i].Rule)
	}
	d.start()
	return d
}
