package mqtt

import (
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

const (
	minGap    = time.Second     // between two messages of one reading
	beatEvery = 2 * time.Second // heartbeat
)

// told is what the broker heard on this connection. A new connection knows
// nothing: mosquitto writes its retained messages to disk every half hour
// only, so after a power cut it may bring back old ones.
type told struct {
	status     bool
	subscribed bool
	beat       time.Time // zero: none yet
	alarms     []toldAlarm
	readings   []toldReading
	summarised bool
	summary    summary
	advice     []byte
}

func (t *told) reset(rules, channels int) {
	*t = told{alarms: make([]toldAlarm, rules), readings: make([]toldReading, channels)}
}

// beatDue reports whether the next heartbeat is due.
func (t *told) beatDue(now time.Time) bool {
	age := now.Sub(t.beat)
	return t.beat.IsZero() || age >= beatEvery || age < 0
}

type toldAlarm struct {
	known bool
	state alarms.State
	seq   uint64
	since time.Time
}

func (t *toldAlarm) due(a *alarms.Alarm) bool {
	return !t.known || t.state != a.State || t.seq != a.Seq || !t.since.Equal(a.Since)
}

func (t *toldAlarm) note(a *alarms.Alarm) {
	*t = toldAlarm{known: true, state: a.State, seq: a.Seq, since: a.Since}
}

type toldReading struct {
	known  bool
	when   time.Time
	status sensors.Status
	value  float64
}

// due reports whether r must be sent: never sent, or changed and the last
// message older than minGap, or unchanged for refresh. A clock that went back
// counts as long ago.
func (t *toldReading) due(now time.Time, r *sensors.Reading, q sensors.Quantity, refresh time.Duration) bool {
	age := now.Sub(t.when)
	switch {
	case !t.known, age < 0, age >= refresh:
		return true
	case age < minGap:
		return false
	case r.Status != t.status:
		return true
	}
	return r.Status == sensors.Good && math.Abs(r.Value-t.value) >= displays[q].deadband
}

func (t *toldReading) note(now time.Time, r *sensors.Reading) {
	*t = toldReading{known: true, when: now, status: r.Status, value: r.Value}
}

// displays says how finely each quantity is shown. The places keep what the
// sensor resolves (a thermocouple chip: 0.25 degC); the deadband keeps the
// noise of a quiet channel off the air. Both are our own choice. Alarms are
// judged elsewhere, on the full value.
var displays = map[sensors.Quantity]struct {
	places   int
	deadband float64
}{
	sensors.Temperature: {2, 0.5},
	sensors.Pressure:    {1, 2},
	sensors.CO:          {1, 0.5},
	sensors.Speed:       {0, 10},
	sensors.Voltage:     {3, 0.02},
	sensors.Humidity:    {4, 0.005},
	sensors.Age:         {0, 10},
	sensors.Mean:        {1, 1},
	sensors.COHb:        {2, 0.05},
	sensors.Ratio:       {3, 0.02},

	sensors.GasFlow:      {2, 0.1},
	sensors.Mass:         {3, 0.01},
	sensors.MassFlow:     {2, 0.02},
	sensors.HeatingValue: {2, 0.02},
	sensors.Power:        {0, 20},
	sensors.Difference:   {1, 0.5},
	sensors.Thickness:    {5, 0.0001},
	sensors.Leak:         {1, 0.5},
	sensors.Loading:      {1, 1},
}
