package exposure

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"charwarden/sensors"
)

// again takes a dose through its kept form, as text, and an absence.
func again(t *testing.T, d *Dose, now time.Time) *Dose {
	t.Helper()
	text, err := json.Marshal(d.Keep())
	if err != nil {
		t.Fatal(err)
	}
	if len(text) > 1500 {
		t.Errorf("%d bytes: %s", len(text), text)
	}
	var k Kept
	if err := json.Unmarshal(text, &k); err != nil {
		t.Fatal(err)
	}
	back := New("co", Opts{})
	back.Restore(k, now)
	return back
}

// history of 3 h, with a new concentration each 20 min; the last is 37 ppm.
func lived() (*Dose, time.Duration) {
	d := New("co", Opts{})
	at := time.Duration(0)
	for _, ppm := range []float64{0, 250, 3, 80, 0, 0, 120, 10, 37} {
		run(d, at, at+20*time.Minute, good(ppm), nil)
		at += 20 * time.Minute
	}
	d.Step(start.Add(at), good(37))
	return d, at
}

func same(t *testing.T, what string, got, want *Dose, within float64) {
	t.Helper()
	w := want.Readings(nil)
	for i, g := range got.Readings(nil) {
		if g.Status != w[i].Status || g.AtLeast != w[i].AtLeast || math.Abs(g.Value-w[i].Value) > within {
			t.Errorf("%s: %s %v %v %v, want %v %v %v", what, g.Channel, g.Status, g.Value, g.AtLeast, w[i].Status, w[i].Value, w[i].AtLeast)
		}
	}
}

// A restart is no more than a gap of that length.
func TestRestart(t *testing.T) {
	for _, off := range []time.Duration{0, 10 * time.Second, 14 * time.Minute, 16 * time.Minute, 5 * time.Hour} {
		for _, after := range []float64{0, 90} {
			d, at := lived()
			back := again(t, d, start.Add(at+off))
			if off > 0 { // the one that lives on has a cell that does not answer
				d.Step(start.Add(at), bad(sensors.NoAnswer))
			}
			run(d, at, at+off, bad(sensors.NoAnswer), nil)
			at += off
			for _, dose := range []*Dose{d, back} {
				run(dose, at, at+3*time.Minute, good(after), nil)
			}
			same(t, off.String(), back, d, 1e-3)
			for _, dose := range []*Dose{d, back} {
				run(dose, at+3*time.Minute, at+30*time.Minute, good(after), nil)
			}
			same(t, off.String()+", later", back, d, 1e-3)
		}
	}
}

// A cell that is dead over many restarts is one gap, not many short ones.
func TestRestartInGap(t *testing.T) {
	d, at := lived()
	for range 4 {
		run(d, at, at+5*time.Minute, bad(sensors.NoAnswer), nil)
		at += 5 * time.Minute
		d = again(t, d, start.Add(at))
		d.Step(start.Add(at), bad(sensors.NoAnswer))
	}
	if out := d.Readings(nil); out[1].Status != sensors.Unknown || out[2].Status != sensors.Good || !out[2].AtLeast {
		t.Errorf("%+v", out[1:3])
	}
	other, at := lived()
	run(other, at, at+20*time.Minute+1, bad(sensors.NoAnswer), nil)
	same(t, "in a gap", d, other, 1e-3)
}

func TestRestartKeepsLowerBounds(t *testing.T) {
	d, at := lived()
	run(d, at, at+time.Minute, clipped(1000), nil)
	run(d, at+time.Minute, at+time.Hour, good(0), nil)
	back := again(t, d, start.Add(at+time.Hour))
	back.Step(start.Add(at+time.Hour), good(0))
	if out := back.Readings(nil); out[1].AtLeast || !out[2].AtLeast || !out[4].AtLeast {
		t.Errorf("%+v", out)
	}
	run(back, at+time.Hour, at+16*time.Hour+2*time.Minute, good(0), nil)
	if out := back.Readings(nil); out[2].AtLeast || out[4].AtLeast {
		t.Errorf("%+v", out)
	}
}

// Off overnight: a new working day, with what is left in the blood.
func TestNight(t *testing.T) {
	d, at := lived()
	before := d.Readings(nil)
	back := again(t, d, start.Add(at+8*time.Hour))
	if out := back.Readings(nil); out[3].Status != sensors.Unknown {
		t.Errorf("before a value: %+v", out[3])
	}
	back.Step(start.Add(at+8*time.Hour), good(5))
	out := back.Readings(nil)
	want := exact(Rest, exact(Moderate, before[3].Value, 37, 15), 0, 7.75*60)
	if out[2].Value != 0 || out[2].AtLeast || out[3].AtLeast || math.Abs(out[3].Value-want) > 1e-6 {
		t.Errorf("%+v, want COHb %v", out, want)
	}
}

// A cell that is dead while the daemon watches makes no night.
func TestDeadCellIsNoNight(t *testing.T) {
	d, at := lived()
	d.Step(start.Add(at), nil)
	d.Step(start.Add(at+9*time.Hour), nil)
	back := again(t, d, start.Add(at+10*time.Hour))
	back.Step(start.Add(at+10*time.Hour), good(0))
	if out := back.Readings(nil); out[1].Status != sensors.Unknown || !out[2].AtLeast || out[2].Value == 0 || !out[3].AtLeast {
		t.Errorf("%+v", out)
	}
}

// The clock went back in a gap, before the daemon was off.
func TestClockBackInGap(t *testing.T) {
	k, now := Kept{At: start, Alive: start.Add(-time.Hour), PPM: 50, COHb: 5, Linear: 5, AtLeastAge: 16, UnknownAge: 16}, start.Add(-time.Minute)
	d := New("co", Opts{})
	d.Restore(k, now)
	d.Step(now, good(0))
	if out := d.Readings(nil); out[1].Status != sensors.Unknown || !out[3].AtLeast || out[3].Value != 5 {
		t.Errorf("%+v", out)
	}
}

// The board has no clock battery: nobody knows how long it was off.
func TestClockBackWhileOff(t *testing.T) {
	d, _ := lived()
	before := d.Readings(nil)
	now := start.Add(-20 * 24 * time.Hour)
	back := again(t, d, now)
	for i := range 2 {
		back.Step(now.Add(time.Duration(i)*100*time.Millisecond), good(37))
		out := back.Readings(nil)
		if out[0].Status != sensors.Unknown || out[0].Err == nil || out[1].Status != sensors.Unknown {
			t.Errorf("%+v", out[:2])
		}
		for _, k := range []int{2, 3, 4} {
			if out[k].Status != sensors.Good || !out[k].AtLeast || math.Abs(out[k].Value-before[k].Value) > 1e-3 {
				t.Errorf("%+v, want %v", out[k], before[k].Value)
			}
		}
	}
}

func TestNothingKept(t *testing.T) {
	d := again(t, New("co", Opts{}), start)
	d.Step(start, good(0))
	if out := d.Readings(nil); out[3].Value != StartCOHb || out[3].AtLeast {
		t.Errorf("%+v", out[3])
	}
}

// Whatever a file says that was cut or written over, the dose is a dose, and
// what it keeps of it comes back the same.
func FuzzRestore(f *testing.F) {
	d, _ := lived()
	text, _ := json.Marshal(d.Keep())
	f.Add(text, int64(time.Minute), 35.0)
	f.Add([]byte(`{"at":"2031-05-04T06:00:00Z","alive":"0001-01-01T00:00:00Z","ppm":1e300,"cohb":-4,"minutes":[1e300,-1],"at_least_age_h":-1e300}`), int64(0), 1e9)
	f.Fuzz(func(t *testing.T, text []byte, off int64, ppm float64) {
		var k Kept
		if json.Unmarshal(text, &k) != nil {
			return
		}
		now := k.Alive.Add(time.Duration(off))
		d := New("co", Opts{})
		d.Restore(k, now)
		for i := range 3 {
			d.Step(now.Add(time.Duration(i)*time.Second), good(ppm))
		}
		for _, r := range d.Readings(nil) {
			if r.Status == sensors.Good && !(r.Value >= 0 && r.Value <= 2.0001*MaxPPM) {
				t.Errorf("%s: %v", r.Channel, r.Value)
			}
			if r.Status != sensors.Good && r.Err == nil {
				t.Errorf("%s: %v without a reason", r.Channel, r.Status)
			}
		}
		if _, err := json.Marshal(d.Keep()); err != nil {
			t.Error(err)
		}
	})
}
