package main

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// trial is a fault that comes over the whole daemon on the reference rig, half
// a minute after its start, and goes away again.
type trial struct {
	name       string
	edit       func(*config.Config)
	arrange    func(*benchRig) // before the daemon starts
	begin, end func(*benchRig) // end is nil where nothing can be done about it
	lasts      time.Duration   // 20 s where it is 0
	shows      string          // channels and their words while it lasts: "co=stale wall_near=good"
	calls      string          // every alarm above notice that comes, and no other
	may        string          // but these
	notices    string          // notices that come, among others
}

const (
	beforeFault = 30 * time.Second // zeros are taken
	afterFault  = 30 * time.Second // time to heal
)

// sighting is what an operator would have seen.
type sighting struct {
	during  map[string]string // word of each channel at the end of the fault
	after   map[string]string
	calls   []string // above notice, in order of coming
	notes   []string
	cause   map[string]string // why a channel has no value
	sensors []string          // channels of sensors
}

// try plays a trial and holds what must hold in every one of them: no tick is
// missed, and what is not good is no number.
func (x *trial) try(t *testing.T) (s sighting) {
	t.Helper()
	lasts := x.lasts
	if lasts == 0 {
		lasts = 20 * time.Second
	}
	whole := beforeFault + lasts + afterFault
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, x.edit)
		if x.arrange != nil {
			x.arrange(b)
		}
		lies, s2 := 0, sighting{cause: make(map[string]string)}
		b.loop.outputs = append(b.loop.outputs, func(f *frame) {
			for i := range f.readings {
				r := &f.readings[i]
				if !tells(r) && lies < 5 {
					lies++
					t.Errorf("%s: %v, and yet a value: %v", r.Channel, r.Status, r.Value)
				}
				if r.Err != nil {
					s2.cause[r.Channel] = r.Err.Error()
				}
			}
			for i := range f.transitions {
				tr := &f.transitions[i]
				switch {
				case !tr.Annunciates():
				case tr.Rule.Priority > alarms.Notice:
					s2.calls = append(s2.calls, tr.Rule.Name)
				default:
					s2.notes = append(s2.notes, tr.Rule.Name)
				}
			}
		})
		b.play(t, whole, func() {
			time.Sleep(beforeFault)
			x.begin(b)
			time.Sleep(lasts)
			synctest.Wait()
			s2.during = b.words()
			if x.end != nil {
				x.end(b)
			}
		})
		s2.after = b.words()
		for _, ch := range b.cfg.Channels {
			s2.sensors = append(s2.sensors, ch.Name)
		}
		wantPunctual(t, b, whole)
		s = s2
	})
	return s
}

// tells reports whether a reading is honest: good with a number, or none. A
// clipped one counts as full scale, of which no sensor has ten million.
func tells(r *sensors.Reading) bool {
	number := !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
	switch r.Status {
	case sensors.Good:
		return number
	case sensors.ClippedHigh, sensors.ClippedLow:
		return !number || math.Abs(r.Value) < 1e7
	}
	return !number
}

// words of all channels now.
func (b *benchRig) words() map[string]string {
	b.mu.Lock()
	defer b.mu.Unlock()
	m := make(map[string]string, len(b.last))
	for ch, s := range b.last {
		m[ch] = s.String()
	}
	return m
}

// judge compares what was seen with what the trial wants.
func (x *trial) judge(t *testing.T, s sighting) {
	t.Helper()
	for _, pair := range strings.Fields(x.shows) {
		ch, want, _ := strings.Cut(pair, "=")
		if !slices.Contains(strings.Split(want, "|"), s.during[ch]) {
			t.Errorf("%s is %s while it lasts, want %s (%s)", ch, s.during[ch], want, s.cause[ch])
		}
		if x.end != nil && s.after[ch] != "good" {
			t.Errorf("%s is %s after it has ended: %s", ch, s.after[ch], s.cause[ch])
		}
	}
	want := strings.Fields(x.calls)
	for _, name := range want {
		if !slices.Contains(s.calls, name) {
			t.Errorf("%s did not call", name)
		}
	}
	for _, name := range s.calls {
		if !slices.Contains(want, name) && !slices.Contains(strings.Fields(x.may), name) {
			t.Errorf("%s called", name)
		}
	}
	for _, name := range strings.Fields(x.notices) {
		if !slices.Contains(s.notes, name) {
			t.Errorf("no notice %s", name)
		}
	}
	if t.Failed() {
		for _, ch := range s.sensors {
			if d, a := s.during[ch], s.after[ch]; d != "good" || a != "good" {
				t.Logf("%s: %s, then %s (%s)", ch, d, a, s.cause[ch])
			}
		}
		t.Logf("called %v; notices %v", s.calls, s.notes)
	}
}

// all runs trials of one name.
func all(t *testing.T, trials []trial) {
	for i := range trials {
		x := &trials[i]
		t.Run(strings.ReplaceAll(x.name, " ", "_"), func(t *testing.T) { x.judge(t, x.try(t)) })
	}
}

// spoilt is an I2C chip that a test can make answer nonsense.
type spoilt struct {
	sim.Chip
	mu  sync.Mutex
	how func([]byte) // what becomes of an answer; nil: nothing
}

func (s *spoilt) spoil(how func([]byte)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.how = how
}

func (s *spoilt) Tx(now time.Time, w, r []byte) error {
	err := s.Chip.Tx(now, w, r)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err == nil && s.how != nil {
		s.how(r)
	}
	return err
}

// filledWith answers with one byte for ever: 0x00 is a chip that holds the wire,
// 0xff one that lets go of it.
func filledWith(v byte) func([]byte) {
	return func(r []byte) {
		for i := range r {
			r[i] = v
		}
	}
}
