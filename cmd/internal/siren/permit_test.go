package siren

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// The alarms of a permit's desk, in their order.
const (
	stopA = iota
	stopB
	faultA     // of stopA's channel
	faultOther // of the channel that stopB compares with
	faultElse  // of a channel that stops nothing
	alarmA     // of stopA's channel, stops nothing
	permitCount
)

type permitDesk struct {
	t *testing.T
	Permit
	as  []alarms.Alarm
	now time.Time
}

func newPermitDesk(t *testing.T) *permitDesk {
	rules := []alarms.Rule{
		stopA:      {Name: "wall_near_stop", Channel: "wall_near", Stops: true, Latch: true},
		stopB:      {Name: "filter_out_stop", Channel: "filter_out", Other: "filter_in", Kind: alarms.Exceeds, Stops: true, Latch: true},
		faultA:     {Name: "wall_near_fault", Channel: "wall_near", Kind: alarms.Fault},
		faultOther: {Name: "filter_in_fault", Channel: "filter_in", Kind: alarms.Fault},
		faultElse:  {Name: "supply_fault", Channel: "supply", Kind: alarms.Fault},
		alarmA:     {Name: "wall_near_alarm", Channel: "wall_near"},
	}
	d := &permitDesk{t: t, now: begin}
	for i := range rules {
		d.as = append(d.as, alarms.Alarm{Rule: &rules[i]})
	}
	return d
}

func (d *permitDesk) step(stands bool) {
	d.now = d.now.Add(100 * ms)
	d.Step(d.now, d.as, stands)
}

// want checks whether the permit is held; why is part of the reason.
func (d *permitDesk) want(what, why string) {
	d.t.Helper()
	held, got := d.Held()
	if held != (why == "") || held != (got == "") || !strings.Contains(got, why) {
		d.t.Errorf("%s: held %v, %q; want %q", what, held, got, why)
	}
}

func TestPermitTrips(t *testing.T) {
	for _, s := range append(alarms.States(), 99) {
		for _, test := range []bool{false, true} {
			for _, stands := range []bool{false, true} {
				d := newPermitDesk(t)
				d.want("before anything is judged", "nothing has been judged")
				d.step(stands)
				d.want("nothing stands", "")
				d.as[alarmA].State, d.as[stopA].State, d.as[stopA].Test = alarms.Unacknowledged, s, test
				d.step(stands)
				why := ""
				if !test && (s == alarms.Unacknowledged || s == alarms.Acknowledged || s == 99) {
					why = "tripped by wall_near_stop"
				}
				d.want(s.String(), why)
				d.as[stopA].State = alarms.Normal
				d.step(stands)
				d.want(s.String()+", then normal", why)
				if d.Tripped() != (why != "") {
					t.Errorf("%v: tripped %v", s, d.Tripped())
				}
			}
		}
	}
}

// The alarm that was first out is the cause, and stays it.
func TestPermitCause(t *testing.T) {
	d := newPermitDesk(t)
	d.as[stopA].State, d.as[stopA].Order = alarms.Unacknowledged, 9
	d.as[stopB].State, d.as[stopB].Order = alarms.Acknowledged, 8
	d.step(false)
	d.want("both", "tripped by filter_out_stop")
	d.as[stopB].State, d.as[stopB].Order = alarms.Normal, 8
	d.step(false)
	d.want("the other", "tripped by filter_out_stop")
}

func TestPermitReset(t *testing.T) {
	d := newPermitDesk(t)
	if err := d.Reset(d.now); !errors.Is(err, ErrNotTripped) {
		t.Errorf("not tripped: %v", err)
	}
	d.Restore(Kept{Tripped: true})
	if err := d.Reset(d.now); !errors.Is(err, ErrUnjudged) {
		t.Errorf("before the first step: %v", err)
	}
	for s, advice := range map[alarms.State]string{
		alarms.Unacknowledged:      "remove the cause first",
		alarms.Acknowledged:        "remove the cause first",
		alarms.Returned:            "acknowledge it first",
		alarms.Latched:             "acknowledge and reset it first",
		alarms.LatchedAcknowledged: "is latched_acknowledged: reset it first",
		alarms.Shelved:             "unshelve it first",
		alarms.OutOfService:        "return it to service first",
		99:                         "remove the cause first",
	} {
		d := newPermitDesk(t)
		d.as[stopB].State = alarms.Unacknowledged
		d.step(true)
		d.as[stopB].State = s
		d.step(true)
		err := d.Reset(d.now)
		var stands *StandsError
		if !errors.As(err, &stands) || *stands != (StandsError{"filter_out_stop", s}) || !strings.Contains(err.Error(), advice) {
			t.Errorf("%v: %v, want %q", s, err, advice)
		}
		d.want(s.String(), "tripped")
	}
	for _, s := range []alarms.State{alarms.Normal, alarms.Suppressed} {
		d := newPermitDesk(t)
		for range 2 {
			d.as[stopB].State = alarms.Unacknowledged
			d.step(true)
			d.want("there", "tripped")
			d.as[stopB].State, d.as[alarmA].State = s, alarms.Latched // the latter stops nothing
			d.step(true)
			if err := d.Reset(d.now.Add(2001 * ms)); !errors.Is(err, ErrUnjudged) {
				t.Errorf("%v, judged 2 s ago: %v", s, err)
			}
			d.want(s.String(), "tripped")
			if err := d.Reset(d.now.Add(50 * ms)); err != nil {
				t.Errorf("%v: %v", s, err)
			}
			d.want(s.String(), "")
		}
	}
}

// A fault blinds a rule that stops: an engine that stands is not let start, one
// that turns goes on, and unknown keeps what was.
func TestPermitFault(t *testing.T) {
	const why = "withheld while "
	for _, i := range []int{faultA, faultOther} {
		d := newPermitDesk(t)
		name := d.as[i].Rule.Name
		d.step(true)
		d.as[i].State = alarms.Unacknowledged
		d.step(false)
		d.want("turns", "")
		d.step(true)
		d.want("stands", why+name)
		d.step(false)
		d.want("cranked", why+name)
		d.as[i].State = alarms.Returned
		d.step(false)
		d.want("returned, cranked", why+name)
		d.as[i].State = alarms.Normal
		d.step(false)
		d.want("gone", "")
		d.as[i].State, d.as[i].Test = alarms.Acknowledged, true
		d.step(true)
		d.want("test", "")
		d.as[i].State, d.as[i].Test = alarms.Shelved, false
		d.step(true)
		d.want("shelved", "")
	}
	d := newPermitDesk(t)
	d.as[faultElse].State = alarms.Unacknowledged
	d.step(true)
	d.want("of a channel that stops nothing", "")
	d.as[faultA].State, d.as[faultOther].State = alarms.Latched, alarms.Acknowledged
	d.step(true)
	d.want("two", why+"wall_near_fault")
	d.as[faultA].State = alarms.Normal
	d.step(false)
	d.want("the other one", why+"filter_in_fault")
	d.as[stopA].State = alarms.Unacknowledged
	d.step(false)
	d.want("and a trip", "tripped by wall_near_stop")
	d.as[stopA].State = alarms.Normal
	d.step(true)
	if err := d.Reset(d.now); err != nil {
		t.Error(err)
	}
	d.want("reset, the fault stands", why+"filter_in_fault")
}

func TestStands(t *testing.T) {
	rpm := func(v float64, s sensors.Status) sensors.Reading { return sensors.Reading{Value: v, Status: s} }
	for _, c := range []struct {
		name   string
		speed  sensors.Reading
		fitted bool
		ph     phase.Phase
		known  bool
		want   bool
	}{
		{"0 rpm", rpm(0, sensors.Good), true, phase.Cold, true, true},
		{"0 rpm, nothing else known", rpm(0, sensors.Good), true, phase.Cold, false, true},
		{"0.9 rpm", rpm(0.9, sensors.Good), true, phase.Stopping, true, true},
		{"1 rpm", rpm(1, sensors.Good), true, phase.Stopping, true, false},
		{"3000 rpm", rpm(3000, sensors.Good), true, phase.Cold, true, false},
		{"0 rpm, but it still pulls", rpm(0, sensors.Good), true, phase.Running, true, false},
		{"0 rpm, warming", rpm(0, sensors.Good), true, phase.Warming, true, false},
		{"speed at fault", rpm(0, sensors.Stale), true, phase.Cold, true, false},
		{"speed unknown", rpm(math.NaN(), sensors.Unknown), true, phase.Cold, true, false},
		{"good, and no number", rpm(math.NaN(), sensors.Good), true, phase.Cold, true, false},
		{"no tacho, cold", rpm(0, sensors.Unknown), false, phase.Cold, true, true},
		{"no tacho, lighting", rpm(0, sensors.Unknown), false, phase.Lighting, true, true},
		{"no tacho, sealed", rpm(0, sensors.Unknown), false, phase.Sealed, true, true},
		{"no tacho, running", rpm(0, sensors.Unknown), false, phase.Running, true, false},
		{"no tacho, warming", rpm(0, sensors.Unknown), false, phase.Warming, true, false},
		{"no tacho, nothing known", rpm(0, sensors.Unknown), false, phase.Cold, false, false},
	} {
		if got := Stands(c.speed, c.fitted, c.ph, c.known); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

func TestPermitKept(t *testing.T) {
	d := newPermitDesk(t)
	d.as[stopA].State = alarms.Unacknowledged
	d.step(false)
	text, err := json.Marshal(d.Keep())
	if err != nil || string(text) != `{"tripped":true,"cause":"wall_near_stop"}` {
		t.Errorf("%s, %v", text, err)
	}
	var k Kept
	if err := json.Unmarshal(text, &k); err != nil {
		t.Fatal(err)
	}
	after := newPermitDesk(t)
	after.Restore(Kept{})
	after.step(false)
	after.want("nothing kept", "")
	after.Restore(k)
	after.step(false)
	after.want("after a restart", "tripped by wall_near_stop")
	after.Restore(Kept{})
	after.Restore(Kept{Tripped: true, Cause: "another"})
	after.want("restored twice", "tripped by wall_near_stop")
	if err := after.Reset(after.now); err != nil {
		t.Error(err)
	}
	after.want("reset", "")
	if k := after.Keep(); k != (Kept{}) {
		t.Errorf("kept %v", k)
	}
}

// Whatever happens: no permit while an alarm that stops is there, none after it
// without a reset, none lost while the engine turns but by such an alarm.
func TestPermitInvariants(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 11))
	d := newPermitDesk(t)
	states := alarms.States()
	tripped, trips, resets, withheld := false, 0, 0, 0
	d.step(true)
	for range 300_000 {
		i := r.IntN(permitCount)
		d.as[i].State, d.as[i].Test = states[r.IntN(len(states))], r.IntN(4) == 0
		if r.IntN(3) == 0 {
			d.as[stopA].State, d.as[stopB].State = alarms.Normal, alarms.Normal
		}
		before, _ := d.Held()
		if r.IntN(4) == 0 && d.Reset(d.now) == nil {
			tripped = false
			resets++
		}
		stands := r.IntN(2) == 0
		d.step(stands)
		stop := false
		for _, a := range d.as[:faultA] {
			stop = stop || !a.Test && (a.State == alarms.Unacknowledged || a.State == alarms.Acknowledged)
		}
		if stop && !tripped {
			tripped = true
			trips++
		}
		held, why := d.Held()
		switch {
		case held && tripped:
			t.Fatal("held though tripped")
		case before && !held && !stands && !stop:
			t.Fatalf("an engine that turns was stopped without an alarm: %s", why)
		case !held && !tripped:
			withheld++
		}
	}
	if trips < 1000 || resets < 1000 || withheld < 1000 {
		t.Errorf("%d trips, %d resets, %d steps withheld: too little was tried", trips, resets, withheld)
	}
	if n := testing.AllocsPerRun(100, func() { d.step(true) }); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}
