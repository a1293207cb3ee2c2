package metrics

import (
	"cmp"
	"math"
	"slices"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Health is what the daemon knows about itself. All counts run from its start.
type Health struct {
	Ticks, Missed   uint64        // of the loop
	Step, StepMax   time.Duration // of the last tick and of the longest
	ReadingsDropped uint64        // on the way from the bus to the loop
	ReadingsMissed  uint64        // not taken, because a bus was too slow

	Phase        phase.Phase
	PermitFitted bool
	PermitHeld   bool // the engine may run

	MQTTOff       bool // not configured: its families are absent
	MQTTConnected bool
	MQTTConnects  uint64
	MQTTRebuilds  uint64
	MQTTPublished uint64
	MQTTDropped   uint64

	LogOff     bool // not configured: its families are absent
	LogQueued  int  // bytes
	LogFile    int64
	LogDropped uint64
	LogFaults  uint64

	Bus []BusHealth // copied by Update; two of one name count as the worse one
}

// BusHealth is one bus.
type BusHealth struct {
	Name  string        // "/dev/i2c-1"
	Stuck time.Duration // of the transfer under way; 0 if it is not stuck
}

// deadAfter is the age of the last Update above which the loop counts as dead:
// no reading is live for longer (Channel.StaleAfter).
const deadAfter = 3 * time.Second

// statuses is how many a channel can have.
var statuses = len(sensors.Statuses())

// snapshot is the daemon at its last Update. Slices are indexed as the
// Channels and Rules of Opts.
type snapshot struct {
	updated  time.Time // before the first Update: when the exporter was made
	live     bool      // there was an Update
	channels []channelNow
	faults   []uint64 // counts, [channel*statuses+Status]
	rules    []ruleNow
	health   Health
}

type channelNow struct {
	status, before sensors.Status // of this Update and of the one before
	value          float64
	at             time.Time
}

// good reports whether the value may be shown. A good reading that is not a
// number is a defect upstream and no value.
func (c *channelNow) good() bool {
	return c.status == sensors.Good && !math.IsNaN(c.value) && !math.IsInf(c.value, 0)
}

type ruleNow struct {
	known bool // the last Update named it
	state alarms.State
}

func newSnapshot(channels, rules int, now time.Time) snapshot {
	return snapshot{
		updated:  now,
		channels: make([]channelNow, channels),
		faults:   make([]uint64, channels*statuses),
		rules:    make([]ruleNow, rules),
	}
}

// copyFrom makes s a copy of o that shares nothing with it. It allocates only
// when there are more buses than ever before.
func (s *snapshot) copyFrom(o *snapshot) {
	s.updated, s.live = o.updated, o.live
	copy(s.channels, o.channels)
	copy(s.faults, o.faults)
	copy(s.rules, o.rules)
	s.setHealth(&o.health)
}

func (s *snapshot) setHealth(h *Health) {
	bus := append(s.health.Bus[:0], h.Bus...)
	s.health = *h
	s.health.Bus = bus
}

// dead reports whether the loop has not been heard of for too long.
func (s *snapshot) dead(now time.Time) bool {
	return !s.live || now.Sub(s.updated) > deadAfter
}

// Update takes what the loop knows after a tick: the newest reading of every
// channel, every alarm, its own health. A channel or rule that is missing is
// unknown; one that Opts does not list is ignored. The loop calls it once per
// tick. It keeps none of its arguments, waits for nothing but the copy of a
// scrape (microseconds), does no I/O and in the steady state allocates nothing.
func (e *Exporter) Update(now time.Time, readings []sensors.Reading, standing []alarms.Alarm, h Health) {
	e.mu.Lock()
	defer e.mu.Unlock()
	s := &e.last
	s.updated, s.live = now, true
	s.setHealth(&h)

	for i := range s.channels {
		s.channels[i] = channelNow{before: s.channels[i].status}
	}
	for i := range readings {
		r := &readings[i]
		if n, ok := e.channelIndex[r.Channel]; ok {
			c := &s.channels[n]
			c.status, c.value, c.at = r.Status, r.Value, r.At
		}
	}
	for i, c := range s.channels {
		if c.status != c.before && c.status > sensors.Good && int(c.status) < statuses {
			s.faults[i*statuses+int(c.status)]++
		}
	}

	clear(s.rules)
	for i := range standing {
		a := &standing[i]
		if a.Rule == nil {
			continue
		}
		if n, ok := e.ruleIndex[a.Rule.Name]; ok {
			s.rules[n] = ruleNow{known: true, state: a.State}
		}
	}

	// Two samples of one name and labels would be an error of the page.
	b := s.health.Bus
	slices.SortFunc(b, func(x, y BusHealth) int {
		return cmp.Or(cmp.Compare(x.Name, y.Name), cmp.Compare(y.Stuck, x.Stuck))
	})
	s.health.Bus = slices.CompactFunc(b, func(x, y BusHealth) bool { return x.Name == y.Name })
}
