package mqtt

import (
	"errors"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// fakeClient is a client whose tokens end when the test says so.
type fakeClient struct {
	paho.Client
	closed bool
	refuse error // the next message
	tokens []*fakeToken
	topics []string
}

func (c *fakeClient) IsConnectionOpen() bool { return !c.closed }

func (c *fakeClient) Subscribe(filter string, _ byte, _ paho.MessageHandler) paho.Token {
	return c.Publish(filter, 0, false, nil)
}

func (c *fakeClient) Publish(topic string, _ byte, _ bool, _ any) paho.Token {
	c.topics = append(c.topics, topic)
	t := &fakeToken{done: make(chan struct{})}
	if c.refuse != nil {
		t.end(c.refuse)
	}
	c.tokens = append(c.tokens, t)
	return t
}

type fakeToken struct {
	paho.Token
	done chan struct{}
	err  error
}

func (t *fakeToken) Done() <-chan struct{} { return t.done }
func (t *fakeToken) Error() error          { return t.err }
func (t *fakeToken) end(err error)         { t.err = err; close(t.done) }

func TestOutboxIsBounded(t *testing.T) {
	var c fakeClient
	var o outbox
	o.begin(&c, start)
	for i := range maxFlights {
		if !o.send("a", true, nil, func() {}) {
			t.Fatalf("no room for message %d", i)
		}
	}
	if o.send("a", true, nil, func() {}) || len(c.tokens) != maxFlights {
		t.Fatalf("the client got %d messages, want %d", len(c.tokens), maxFlights)
	}
	if !o.toss("a", true, nil) {
		t.Error("QoS 0 waits for the confirmation of QoS 1")
	}
	c.tokens[5].end(nil)
	if n := o.reap(start.Add(time.Second)); n != 1 || !o.progress.Equal(start.Add(time.Second)) {
		t.Errorf("reaped %d, progress %v", n, o.progress)
	}
	if !o.send("a", true, nil, func() {}) {
		t.Error("no room after a confirmation")
	}
}

func TestOutboxLost(t *testing.T) {
	var c fakeClient
	var o outbox
	o.begin(&c, start)
	lost := 0
	for range 3 {
		o.send("a", true, nil, func() { lost++ })
	}
	c.tokens[0].end(errors.New("no"))
	c.tokens[1].end(nil)
	if n := o.reap(start); n != 1 || lost != 1 || len(o.flights) != 1 {
		t.Errorf("confirmed %d, lost %d, in flight %d; want 1 of each", n, lost, len(o.flights))
	}
	o.abandon()
	if lost != 2 || len(o.flights) != 0 {
		t.Errorf("abandoned: lost %d, in flight %d; want 2, 0", lost, len(o.flights))
	}
}

// While the connection is down nothing is handed over, nothing counts as lost,
// and the broker's time does not run.
func TestOutboxDown(t *testing.T) {
	var c fakeClient
	var o outbox
	o.begin(&c, start)
	o.send("a", true, nil, func() { t.Error("lost") })
	c.closed = true
	c.tokens[0].end(errors.New("gone"))
	later := start.Add(time.Hour)
	if n := o.reap(later); n != 0 || len(o.flights) != 1 || !o.progress.Equal(later) {
		t.Errorf("reaped %d, in flight %d, progress %v", n, len(o.flights), o.progress)
	}
	if o.send("a", true, nil, nil) || o.toss("a", true, nil) || len(c.tokens) != 1 {
		t.Error("handed to a client that has no connection")
	}
	o.begin(&c, later)
	if len(o.flights) != 0 {
		t.Error("a new connection waits for the old one's confirmations")
	}
}

// One message that the client does not take within its write timeout ends the
// round: fifty of them would hold Run up for minutes.
func TestOutboxJammed(t *testing.T) {
	c := fakeClient{refuse: errors.New("publish was broken by timeout")}
	var o outbox
	o.begin(&c, start)
	for range 3 {
		if o.send("a", true, nil, nil) || o.toss("a", true, nil) {
			t.Error("taken")
		}
	}
	if len(c.tokens) != 1 {
		t.Errorf("tried %d times in one round", len(c.tokens))
	}
	o.reap(start)
	c.refuse = nil
	if !o.send("a", true, nil, func() {}) {
		t.Error("the next round is jammed too")
	}
}

func TestPace(t *testing.T) {
	for burst, want := range map[int][2]int{
		0:  {3, 118},  // of 60, 60 and 30 events: 59 and 59 are held back and told of
		10: {30, 100}, // 50 and 50
	} {
		p := pace{burst: burst}
		var admitted, held int
		for s := range 150 {
			if n, ok := p.admit(start.Add(time.Duration(s) * time.Second)); ok {
				admitted++
				held += n
			}
		}
		if admitted != want[0] || held != want[1] {
			t.Errorf("burst %d: admitted %d with %d held back, want %d", burst, admitted, held, want)
		}
		p.reset()
		if n, ok := p.admit(start.Add(150 * time.Second)); !ok || n != 0 {
			t.Errorf("burst %d: after a reset: %d, %v", burst, n, ok)
		}
	}
}
