package sensors_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestSweepBeforeTheFirstReading(t *testing.T) {
	d := newDesk(t, nil,
		sensors.Channel{Name: "quick", Quantity: sensors.CO, Period: 100 * time.Millisecond},
		sensors.Channel{Name: "slow", Quantity: sensors.Voltage, Period: 10 * time.Second})
	for _, c := range []struct {
		after       time.Duration
		quick, slow sensors.Status
		answered    bool
	}{
		{0, sensors.Unknown, sensors.Unknown, false},
		{time.Second, sensors.Unknown, sensors.Unknown, false},
		{1100 * time.Millisecond, sensors.NoAnswer, sensors.Unknown, false},
		{3 * time.Second, sensors.NoAnswer, sensors.Unknown, false},
		{3100 * time.Millisecond, sensors.NoAnswer, sensors.NoAnswer, true},
	} {
		rs := d.Tick(d.now.Add(c.after))
		wantStatus(t, c.after.String(), rs[0], c.quick)
		wantStatus(t, c.after.String(), rs[1], c.slow)
		if d.Answered() != c.answered {
			t.Errorf("%v: answered %v", c.after, d.Answered())
		}
		for _, r := range rs {
			if !math.IsNaN(r.Value) || (r.Status == sensors.NoAnswer && r.Err == nil) {
				t.Errorf("%v: %+v", c.after, r)
			}
		}
	}
}

// The first sweep is complete when each channel has answered or is a fault,
// whichever comes first.
func TestSweepAnswered(t *testing.T) {
	d := newDesk(t, nil,
		sensors.Channel{Name: "a", Quantity: sensors.CO, Period: time.Second},
		sensors.Channel{Name: "b", Quantity: sensors.Age, Period: time.Second})
	d.good("a", 1)
	if d.Tick(d.now); d.Answered() {
		t.Error("answered before b did")
	}
	d.put(sensors.Bad("b", d.now, sensors.Unknown, errors.New("none recorded")))
	if d.Tick(d.now); !d.Answered() {
		t.Error("a reading that says unknown is an answer")
	}
}

// Three periods, at least 1 s, at most 3 s; age counts from the reading, not
// from its arrival.
func TestSweepStale(t *testing.T) {
	for _, c := range []struct{ period, limit time.Duration }{
		{100 * time.Millisecond, time.Second},
		{250 * time.Millisecond, time.Second},
		{500 * time.Millisecond, 1500 * time.Millisecond},
		{time.Second, 3 * time.Second},
		{time.Minute, 3 * time.Second},
	} {
		for _, was := range []sensors.Status{sensors.Good, sensors.Open, sensors.ClippedHigh} {
			d := newDesk(t, nil, sensors.Channel{Name: "c", Quantity: sensors.CO, Period: c.period})
			cause := errors.New("cause")
			r := sensors.Reading{Channel: "c", At: d.now, Value: 7, Raw: 7, Status: was}
			if was != sensors.Good {
				r.Err = cause
			}
			d.put(r)
			d.now = d.now.Add(c.limit)
			wantStatus(t, "at "+c.limit.String(), d.at("c"), was)
			d.now = d.now.Add(time.Millisecond)
			got := d.at("c")
			wantStatus(t, "past "+c.limit.String(), got, sensors.Stale)
			honest(t, got)
			if was != sensors.Good && !errors.Is(got.Err, cause) {
				t.Errorf("%v: reason lost: %v", was, got.Err)
			}
			d.good("c", 8)
			wantValue(t, "healed", d.at("c"), 8, 0)
		}
	}
}

func TestSweepCorrects(t *testing.T) {
	d := newDesk(t, nil,
		sensors.Channel{Name: "plain", Quantity: sensors.Voltage, Period: time.Second},
		sensors.Channel{Name: "trimmed", Quantity: sensors.Voltage, Period: time.Second, Gain: 1.5, Offset: -2})
	for _, name := range []string{"plain", "trimmed"} {
		d.put(sensors.Reading{Channel: name, At: d.now, Value: 10, Raw: 10, Uncertainty: 0.2, Status: sensors.Good})
	}
	rs := d.Tick(d.now)
	if r := rs[0]; r.Value != 10 || r.Raw != 10 || r.Uncertainty != 0.2 {
		t.Errorf("without gain: %+v", r)
	}
	if r := rs[1]; r.Value != 13 || r.Raw != 10 || math.Abs(r.Uncertainty-0.3) > 1e-12 {
		t.Errorf("gain 1.5, offset -2: %+v, want 13 from 10", r)
	}
	d.put(sensors.Reading{Channel: "trimmed", At: d.now, Value: 1000, Raw: 1000, Status: sensors.ClippedHigh, Err: errors.New("over")})
	if r := d.at("trimmed"); r.Status != sensors.ClippedHigh || r.Value != 1498 || r.Raw != 1000 {
		t.Errorf("clipped: %+v, want full scale corrected, 1498", r)
	}
	d.put(sensors.Reading{Channel: "trimmed", At: d.now, Value: 5, Raw: 5, Status: sensors.NoAnswer, Err: errors.New("gone")})
	honest(t, d.at("trimmed")) // a value beside a fault does not get through
}

// A driver that calls good what is no number is not believed.
func TestSweepBelievesNumbersOnly(t *testing.T) {
	zero := &sensors.ZeroBand{MaxPa: 300, UnzeroedPa: 250, ZeroedPa: 100}
	d := newDesk(t, map[string]sensors.Zero{"p": {Pa: 10}},
		sensors.Channel{Name: "p", Quantity: sensors.Pressure, Period: time.Second, Zero: zero},
		sensors.Channel{Name: "co", Quantity: sensors.CO, Period: time.Second, Gain: 10})
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		d.good("p", v)
		d.good("co", v)
		for _, r := range d.Tick(d.now) {
			wantStatus(t, r.Channel, r, sensors.OutOfRange)
			honest(t, r)
		}
	}
	d.good("co", math.MaxFloat64) // times the gain
	honest(t, d.at("co"))
}

func TestSweepKnowsItsChannels(t *testing.T) {
	d := newDesk(t, nil, sensors.Channel{Name: "a", Quantity: sensors.CO, Period: time.Second})
	before := d.at("a")
	if d.Put(sensors.Reading{Channel: "b", At: d.now, Value: 1, Raw: 1, Status: sensors.Good}) {
		t.Error("took a reading of a channel that it does not have")
	}
	if after := d.at("a"); after.Status != before.Status || after.Channel != "a" || len(d.Tick(d.now)) != 1 {
		t.Errorf("a became %+v", after)
	}
	for _, c := range []struct {
		channels []sensors.Channel
		want     string
	}{
		{[]sensors.Channel{{Name: "a"}, {Name: "a"}}, "named twice"},
		{[]sensors.Channel{{Name: "a", HotWith: []string{"b"}}}, `"b" is not another channel`},
		{[]sensors.Channel{{Name: "a", HotWith: []string{"a"}}}, `"a" is not another channel`},
	} {
		if _, err := sensors.NewSweep(c.channels, nil, d.now); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: error %v, want %q", c.channels, err, c.want)
		}
	}
}
