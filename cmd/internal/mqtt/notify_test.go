package mqtt

import (
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

func TestLine(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	p.latest = goodReadings(start)
	p.latest[5] = sensors.Bad("suction", start, sensors.Unzeroed, nil)
	const (
		wall = iota
		co
		supply
		gas
		suction
	)
	for _, tc := range []struct {
		rule     int
		from, to alarms.State
		value    float64
		want     string
	}{
		{wall, alarms.Normal, alarms.Unacknowledged, 655.25,
			"ALARM wall_near_stop: wall_near 655.25 degC, limit 650 degC. The wall near the nozzle is hotter than its lining stands. First: Close the air slide. To acknowledge send to charwarden/pump/do/YOU/ack: wall_near_stop 3"},
		{co, alarms.Normal, alarms.Unacknowledged, 1000,
			"EVACUATE co_evacuate: co 1000 ppm, limit 200 ppm. Deadly gas. First: Leave, upwind. To acknowledge send to charwarden/pump/do/YOU/ack: co_evacuate 3"},
		{supply, alarms.Normal, alarms.Unacknowledged, math.NaN(),
			"NOTICE supply_low: supply gives no value (good), limit 11.8 V. To acknowledge send to charwarden/pump/do/YOU/ack: supply_low 3"},
		{gas, alarms.Normal, alarms.Unacknowledged, 60,
			"CAUTION gas_out_fault: gas_out gives no value (open). Nobody is watching gas_out. First: Look at its plug. To acknowledge send to charwarden/pump/do/YOU/ack: gas_out_fault 3"},
		{suction, alarms.Normal, alarms.Unacknowledged, math.NaN(),
			"NOTICE suction_unzeroed: zero of suction (unzeroed). To acknowledge send to charwarden/pump/do/YOU/ack: suction_unzeroed 3"},
		{wall, alarms.Acknowledged, alarms.Unacknowledged, 655.25, // it calls again
			"ALARM wall_near_stop: wall_near 655.25 degC, limit 650 degC. The wall near the nozzle is hotter than its lining stands. First: Close the air slide. To acknowledge send to charwarden/pump/do/YOU/ack: wall_near_stop 3"},
		{wall, alarms.Unacknowledged, alarms.Returned, 480,
			"wall_near_stop: the condition is gone, not acknowledged: wall_near 480 degC, limit 650 degC. To acknowledge send to charwarden/pump/do/YOU/ack: wall_near_stop 3"},
		{co, alarms.Unacknowledged, alarms.Latched, 5,
			"co_evacuate: the condition is gone, kept until a reset at the rig: co 5 ppm, limit 200 ppm. To acknowledge send to charwarden/pump/do/YOU/ack: co_evacuate 3"},
		{co, alarms.Acknowledged, alarms.LatchedAcknowledged, 5,
			"co_evacuate: the condition is gone, kept until a reset at the rig: co 5 ppm, limit 200 ppm."},
		{gas, alarms.Acknowledged, alarms.Normal, 60,
			"gas_out_fault: back to normal: gas_out is good."},
		{wall, alarms.Unacknowledged, alarms.Acknowledged, 655, ""},
		{co, alarms.Latched, alarms.LatchedAcknowledged, 5, ""},
	} {
		r := &pumpRules[tc.rule]
		p.latest[1].Status = sensors.Open
		if tc.to == alarms.Normal {
			p.latest[1].Status = sensors.Good
		}
		tr := alarms.Transition{At: start, From: tc.from,
			Alarm: alarms.Alarm{Rule: r, State: tc.to, Value: tc.value, Since: start, Seq: 3}}
		if got := p.line(&tr); got != tc.want {
			t.Errorf("%s %v to %v:\n got %s\nwant %s", r.Name, tc.from, tc.to, got, tc.want)
		}
	}
}

// What a person copies from the end of a line is an acknowledgement of exactly
// that occurrence.
func TestLineEndsWithTheAcknowledgement(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	for i := range pumpRules {
		tr := alarms.Transition{At: start, Alarm: alarms.Alarm{Rule: &pumpRules[i], State: alarms.Unacknowledged, Seq: 17}}
		line := p.line(&tr)
		name, seq, err := ParseAck(line[strings.LastIndex(line, ": ")+2:])
		if err != nil || name != pumpRules[i].Name || seq != 17 {
			t.Errorf("%s\nparses as %q %d, %v", line, name, seq, err)
		}
	}
}

func TestSentenceIsOneLine(t *testing.T) {
	if got, want := sentence("First: ", " a\nb\t c "), " First: a b c."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLate(t *testing.T) {
	tr := alarms.Transition{At: start, Alarm: alarms.Alarm{State: alarms.Unacknowledged, Seq: 2}}
	same := tr.Alarm
	over := alarms.Alarm{State: alarms.Normal, Seq: 2}
	again := alarms.Alarm{State: alarms.Unacknowledged, Seq: 3}
	soon, long := start.Add(freshFor), start.Add(freshFor+time.Second)
	for _, tc := range []struct {
		name string
		now  time.Time
		is   *alarms.Alarm
		want bool
	}{
		{"soon, still true", soon, &same, false},
		{"soon, over", soon, &over, false},
		{"long ago, still true", long, &same, false},
		{"long ago, over", long, &over, true},
		{"long ago, came again", long, &again, true},
		{"long ago, no such alarm", long, nil, true},
	} {
		if got := late(tc.now, &tr, tc.is); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
}
