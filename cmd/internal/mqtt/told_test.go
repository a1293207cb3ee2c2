package mqtt

import (
	"math"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

func TestReadingDue(t *testing.T) {
	const refresh = time.Minute
	good := sensors.Reading{Value: 480, Status: sensors.Good}
	told := toldReading{known: true, when: start, status: sensors.Good, value: 480}
	nan := math.NaN()
	for _, tc := range []struct {
		name  string
		told  toldReading
		after time.Duration
		r     sensors.Reading
		want  bool
	}{
		{"never sent", toldReading{}, 0, good, true},
		{"unchanged", told, 30 * time.Second, good, false},
		{"unchanged until the refresh", told, refresh, good, true},
		{"within the deadband", told, 10 * time.Second, sensors.Reading{Value: 480.49, Status: sensors.Good}, false},
		{"moved", told, 10 * time.Second, sensors.Reading{Value: 480.5, Status: sensors.Good}, true},
		{"moved down", told, 10 * time.Second, sensors.Reading{Value: 479.5, Status: sensors.Good}, true},
		{"moved, too soon", told, 999 * time.Millisecond, sensors.Reading{Value: 600, Status: sensors.Good}, false},
		{"moved, soon enough", told, time.Second, sensors.Reading{Value: 600, Status: sensors.Good}, true},
		{"fault", told, time.Second, sensors.Reading{Value: nan, Status: sensors.Open}, true},
		{"clipped", told, time.Second, sensors.Reading{Value: 480, Status: sensors.ClippedHigh}, true},
		{"another fault", toldReading{true, start, sensors.Open, nan}, time.Second, sensors.Reading{Value: nan, Status: sensors.Stale}, true},
		{"same fault", toldReading{true, start, sensors.Open, nan}, time.Second, sensors.Reading{Value: nan, Status: sensors.Open}, false},
		{"back", toldReading{true, start, sensors.Open, nan}, time.Second, good, true},
		{"the clock went back", told, -time.Hour, good, true},
	} {
		if got := tc.told.due(start.Add(tc.after), &tc.r, sensors.Temperature, refresh); got != tc.want {
			t.Errorf("%s: due %v, want %v", tc.name, got, tc.want)
		}
	}
}

// A slow drift is not lost in the deadband: it is measured from what was sent.
func TestReadingDueDrift(t *testing.T) {
	var told toldReading
	sent := 0
	for s := range 60 {
		now := start.Add(time.Duration(s) * time.Second)
		r := sensors.Reading{Value: 480 + 0.1*float64(s), Status: sensors.Good}
		if told.due(now, &r, sensors.Temperature, time.Hour) {
			told.note(now, &r)
			sent++
		}
	}
	if sent < 10 || sent > 12 { // 5.9 K in steps of 0.5 K, and the first
		t.Errorf("a drift of 5.9 K was sent %d times, want about 12", sent)
	}
}

func TestEveryQuantityIsDisplayed(t *testing.T) {
	for q := sensors.Temperature; q <= sensors.Age; q++ {
		if d, ok := displays[q]; !ok || d.deadband <= 0 {
			t.Errorf("quantity %d (%s) has no display", q, q.Unit())
		}
	}
}

func TestAlarmDue(t *testing.T) {
	a := alarms.Alarm{State: alarms.Acknowledged, Seq: 2, Since: start, Value: 655}
	var told toldAlarm
	if !told.due(&a) {
		t.Error("never sent, but not due")
	}
	told.note(&a)
	for _, tc := range []struct {
		name   string
		change func(*alarms.Alarm)
		want   bool
	}{
		{"nothing", func(*alarms.Alarm) {}, false},
		{"value", func(a *alarms.Alarm) { a.Value = 700 }, false},
		{"state", func(a *alarms.Alarm) { a.State = alarms.Normal }, true},
		{"occurrence", func(a *alarms.Alarm) { a.Seq++ }, true},
		{"since", func(a *alarms.Alarm) { a.Since = start.Add(1) }, true},
	} {
		b := a
		tc.change(&b)
		if got := told.due(&b); got != tc.want {
			t.Errorf("%s changed: due %v, want %v", tc.name, got, tc.want)
		}
	}
}

func TestBeatDue(t *testing.T) {
	var told told
	var at []int
	for tick := range 100 { // ticks of 100 ms
		now := start.Add(time.Duration(tick) * 100 * time.Millisecond)
		if told.beatDue(now) {
			told.beat = now
			at = append(at, tick)
		}
	}
	if len(at) != 5 || at[1]-at[0] != 20 {
		t.Errorf("beats at ticks %v, want every 20th", at)
	}
	if !told.beatDue(start.Add(-time.Hour)) {
		t.Error("a clock that went back silences the heartbeat")
	}
}
