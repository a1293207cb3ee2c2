package mqtt

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/alarms"
)

// Places in pumpRules.
const (
	gasFault = iota + 3 // has no common cause
	unzeroed
	coFault
	suctionFault
	supplyFault
	wallFault // of another cause
)

// scribe is a client of a broker that confirms at once; it notes the lines for
// people and counts the events.
type scribe struct {
	fakeClient
	lines  []string
	events int
}

func (s *scribe) Publish(topic string, qos byte, retained bool, payload any) paho.Token {
	switch {
	case strings.HasSuffix(topic, "/notify"):
		s.lines = append(s.lines, string(payload.([]byte)))
	case strings.HasSuffix(topic, "/events"):
		s.events++
	}
	token := s.fakeClient.Publish(topic, qos, retained, payload)
	s.tokens[len(s.tokens)-1].end(nil)
	return token
}

// stormRig is a Publisher whose loop and Run the test plays, tick by tick, from
// start on.
type stormRig struct {
	*Publisher
	client scribe
	as     []alarms.Alarm
	trs    []alarms.Transition
	at     time.Duration
}

func newStormRig(t *testing.T) *stormRig {
	r := &stormRig{Publisher: pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1")), as: normalAlarms()}
	r.out.begin(&r.client, start)
	return r
}

// turn brings alarms into another state, as of the next tick.
func (r *stormRig) turn(to alarms.State, rules ...int) {
	for _, i := range rules {
		a := &r.as[i]
		tr := alarms.Transition{At: start.Add(r.at), From: a.State}
		if to == alarms.Unacknowledged {
			a.Seq++
		}
		a.State, a.Since = to, tr.At
		tr.Alarm = *a
		r.trs = append(r.trs, tr)
	}
}

// tick goes on to a time after start and returns the lines that are new. While
// the broker is away Run does not speak.
func (r *stormRig) tick(at time.Duration) []string {
	r.at = at
	r.Update(start.Add(at), goodReadings(start.Add(at)), r.as, r.trs, "running")
	r.trs = r.trs[:0]
	r.take()
	r.place()
	r.client.lines = nil
	if !r.client.closed {
		r.sayTransitions()
		r.out.reap(start.Add(at))
	}
	return r.client.lines
}

// wantLines fails unless the lines begin like this.
func wantLines(t *testing.T, when string, got []string, want ...string) {
	t.Helper()
	if !slices.EqualFunc(got, want, strings.HasPrefix) {
		t.Errorf("%s: said\n%s\nwant lines that begin with\n%s", when, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestStorm(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault)
	wantLines(t, "the first waits", r.tick(0))
	r.at = time.Second
	r.turn(alarms.Unacknowledged, coFault, wallFault)
	wantLines(t, "of CO, at once", r.tick(time.Second), "ALARM co_fault: ")
	r.at = 2 * time.Second
	r.turn(alarms.Unacknowledged, supplyFault, gasFault)
	wantLines(t, "without a cause, at once", r.tick(2*time.Second), "CAUTION gas_out_fault: ")
	if r.client.events != 5 {
		t.Errorf("%d events, want 5: they do not wait", r.client.events)
	}
	wantLines(t, "not yet", r.tick(2900*time.Millisecond))
	got := r.tick(3 * time.Second)
	want := "CAUTION: the I2C bus /dev/i2c-1 took 3 channels down together: suction, co, supply. Nobody is watching them. " +
		"First: Look at the plug and the power of the I2C bus /dev/i2c-1, and shut the rig down in the usual order if they do not come back. " +
		"To acknowledge each send to charwarden/pump/do/YOU/ack its name and number: suction_fault 1; co_fault 1; supply_fault 1"
	if len(got) != 1 || got[0] != want {
		t.Errorf("got %q\nwant %q", got, want)
	}
	_, list, _ := strings.Cut(want, "number: ")
	for _, ack := range strings.Split(list, "; ") {
		if _, _, err := ParseAck(ack); err != nil {
			t.Errorf("%q: %v", ack, err)
		}
	}
	wantLines(t, "the other cause, alone", r.tick(4*time.Second), "CAUTION wall_near_fault: ")
	wantLines(t, "nothing is left", r.tick(time.Minute))
}

// The highest of the priorities that it stands for.
func TestStormPriority(t *testing.T) {
	for _, tc := range []struct {
		rules []int
		want  string
	}{
		{[]int{coFault, supplyFault, suctionFault}, "CAUTION: "},
		{[]int{coFault, supplyFault}, "NOTICE supply_fault"},
	} {
		r := newStormRig(t)
		r.turn(alarms.Unacknowledged, tc.rules...)
		r.tick(0)
		wantLines(t, fmt.Sprint(tc.rules), r.tick(stormWait), tc.want)
	}
	s := storm{cause: i2c, faults: []fault{
		{Transition: alarms.Transition{Alarm: alarms.Alarm{Rule: &pumpRules[coFault]}}},
		{Transition: alarms.Transition{Alarm: alarms.Alarm{Rule: &pumpRules[supplyFault]}}},
	}}
	wantLines(t, "a notice", []string{newStormRig(t).stormLine(&s)}, "NOTICE: the I2C bus")
}

func TestTwoFaultsAreTwoLines(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault, supplyFault)
	wantLines(t, "at once", r.tick(0))
	wantLines(t, "after 3 s", r.tick(stormWait), "CAUTION suction_fault: ", "NOTICE supply_fault: ")
}

// A fault that comes later than 3 s after the first is not of its storm.
func TestStormIsBounded(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault, supplyFault)
	r.at = stormWait
	r.turn(alarms.Unacknowledged, coFault)
	wantLines(t, "the third, too late", r.tick(stormWait), "CAUTION suction_fault: ", "NOTICE supply_fault: ", "ALARM co_fault: ")
}

// What returned, or was acknowledged, while its line waited is told first.
func TestStormReturns(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault, supplyFault)
	r.tick(0)
	r.at = time.Second
	r.turn(alarms.Returned, suctionFault)
	wantLines(t, "one of two", r.tick(time.Second),
		"CAUTION suction_fault: suction gives no value", "NOTICE supply_fault: ", "suction_fault: the condition is gone, not acknowledged: ")
	wantLines(t, "once only", r.tick(time.Minute))

	r = newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault, coFault, supplyFault)
	r.turn(alarms.Acknowledged, supplyFault)
	r.turn(alarms.Normal, supplyFault)
	r.turn(alarms.Unacknowledged, supplyFault)
	wantLines(t, "one of three, all in one tick", r.tick(0),
		"ALARM co_fault: ", "CAUTION: the I2C bus /dev/i2c-1 took 3 channels down", "supply_fault: back to normal: ")
	wantLines(t, "came again", r.tick(stormWait), "NOTICE supply_fault: ")
}

// What test gas raised says so, at once, and proves no common cause.
func TestStormTest(t *testing.T) {
	r := newStormRig(t)
	r.as[coFault].Test = true
	r.turn(alarms.Unacknowledged, suctionFault, supplyFault, coFault)
	wantLines(t, "at once", r.tick(0), "ALARM TEST, no real gas: co_fault: ")
	wantLines(t, "after 3 s", r.tick(stormWait), "CAUTION suction_fault: ", "NOTICE supply_fault: ")
	r.as[suctionFault].Test = true
	r.at = time.Minute
	r.turn(alarms.Unacknowledged, suctionFault)
	wantLines(t, "a caution, at once", r.tick(time.Minute), "CAUTION TEST, no real gas: suction_fault: ")
}

// With the broker away the lines wait on; then what is still true is told.
func TestStormBrokerAway(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault)
	r.tick(0)
	r.client.closed = true
	r.at = time.Second
	r.turn(alarms.Unacknowledged, supplyFault, coFault)
	wantLines(t, "away", r.tick(time.Second))
	wantLines(t, "away", r.tick(9*time.Second))
	r.client.closed = false
	wantLines(t, "back", r.tick(time.Minute), "ALARM co_fault: ", "CAUTION: the I2C bus /dev/i2c-1 took 3 channels down")

	r = newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault, supplyFault, coFault)
	r.tick(0)
	r.client.closed = true
	r.at = time.Second
	r.turn(alarms.Normal, suctionFault)
	r.tick(time.Second)
	r.client.closed = false
	wantLines(t, "back, with one healed", r.tick(time.Minute), "NOTICE supply_fault: ", "suction_fault: back to normal: ")
	if n := r.Stats().Dropped; n != 0 {
		t.Errorf("dropped %d", n)
	}
}

// A clock that goes back holds no line.
func TestStormClockBack(t *testing.T) {
	r := newStormRig(t)
	r.turn(alarms.Unacknowledged, suctionFault)
	r.tick(0)
	wantLines(t, "an hour back", r.tick(-time.Hour), "CAUTION suction_fault: ")
}

// However often faults come and go, and whether or not the broker is there, no
// more waits than there are alarms; and what is too much is counted.
func TestStormHoldsEachAlarmOnce(t *testing.T) {
	r := newStormRig(t)
	all := []int{suctionFault, supplyFault, wallFault, coFault}
	for i := range 10 * maxQueue {
		r.client.closed = i%5 != 0
		r.turn(alarms.Unacknowledged, all...)
		r.turn(alarms.Normal, all...)
		r.turn(alarms.Unacknowledged, all...)
		r.tick(time.Duration(i) * 100 * time.Millisecond)
		waiting := 0
		for _, s := range r.storms {
			waiting += len(s.faults)
		}
		if waiting > len(all) {
			t.Fatalf("%d lines wait", waiting)
		}
	}
	r.client.closed = false
	for range 20 { // as many as one round has room for
		r.tick(time.Hour)
	}
	if len(r.storms) != 0 {
		t.Errorf("%d storms are left", len(r.storms))
	}

	r = newStormRig(t)
	r.client.closed = true
	for range maxQueue/len(all) + 10 {
		r.turn(alarms.Unacknowledged, all...)
	}
	r.tick(0)
	if n := r.Stats().Dropped; n != 40 {
		t.Errorf("%d are counted as dropped, want 40", n)
	}
}

// sceneStorm: three faults of one bus are one line at the phone, one is its
// own, and each is an event and a state of its own.
func sceneStorm(t *testing.T, broker string) {
	p := pumpPublisher(t, pumpOpts(t, broker))
	l := drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	e := listen(t, broker, "phone", nil)
	seesAll(t, e, 2*time.Second)
	for _, i := range []int{suctionFault, coFault, supplyFault, wallFault} {
		l.turn(i, alarms.Unacknowledged, 0)
	}
	eventually(t, 2*time.Second, "one line", func() bool {
		return e.has("notify", contains("the I2C bus /dev/i2c-1 took 3 channels down together")) &&
			e.has("notify", contains("ALARM co_fault")) && e.has("notify", contains("CAUTION wall_near_fault"))
	})
	for _, name := range []string{"suction_fault", "supply_fault"} {
		if e.has("notify", contains(" "+name+":")) {
			t.Errorf("%s has a line of its own too", name)
		}
		if !e.has("events", contains(`"alarm":"`+name+`"`)) || !e.has("alarm/"+name, contains(`"state":"unacknowledged"`)) {
			t.Errorf("%s: no event, or no state", name)
		}
	}
}
