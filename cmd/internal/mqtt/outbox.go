package mqtt

import (
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// maxFlights bounds the messages that wait for the broker's confirmation.
const maxFlights = 64

// outbox hands messages to the client and watches what becomes of them. The
// client keeps no bound of its own and its tokens may never complete, so both
// are kept here. It belongs to one goroutine.
type outbox struct {
	client   paho.Client
	flights  []flight
	progress time.Time // real time of the newest sign that the broker confirms
	jammed   bool      // a message was not taken in this round: leave the rest
}

// flight is a message whose confirmation is awaited; lost says what to do
// without it.
type flight struct {
	token paho.Token
	lost  func()
}

// begin starts a connection. What was in flight on the old one is forgotten:
// the client sends it again out of its store, and all state is said anew.
func (o *outbox) begin(c paho.Client, now time.Time) {
	clear(o.flights)
	*o = outbox{client: c, flights: o.flights[:0], progress: now}
}

// room is how many more messages may wait for a confirmation.
func (o *outbox) room() int {
	if o.jammed || !o.client.IsConnectionOpen() {
		return 0
	}
	return maxFlights - len(o.flights)
}

// send hands over one message at QoS 1, waiting at most the client's write
// timeout. It reports whether the client has it; lost is called if the broker
// then does not confirm it. No room is refused at once.
func (o *outbox) send(topic string, retained bool, payload []byte, lost func()) bool {
	if o.room() == 0 {
		return false
	}
	token := o.client.Publish(topic, 1, retained, payload)
	if failed(token) {
		o.jammed = true
		return false
	}
	if len(o.flights) == 0 {
		o.progress = time.Now()
	}
	o.flights = append(o.flights, flight{token, lost})
	return true
}

// toss hands over one message at QoS 0. Such a token says nothing about the
// broker, so nobody waits for it.
func (o *outbox) toss(topic string, retained bool, payload []byte) bool {
	if o.jammed || !o.client.IsConnectionOpen() {
		return false
	}
	if failed(o.client.Publish(topic, 0, retained, payload)) {
		o.jammed = true
	}
	return !o.jammed
}

// reap sorts out the flights that ended and returns how many were confirmed.
// While the connection is down it leaves them, as the client resends them, and
// the broker owes nothing.
func (o *outbox) reap(now time.Time) (confirmed uint64) {
	o.jammed = false
	if o.client == nil || !o.client.IsConnectionOpen() {
		o.progress = now
		return 0
	}
	kept := o.flights[:0]
	for _, f := range o.flights {
		select {
		case <-f.token.Done():
		default:
			kept = append(kept, f)
			continue
		}
		if f.token.Error() != nil {
			f.lost()
			continue
		}
		confirmed++
		o.progress = now
	}
	clear(o.flights[len(kept):])
	o.flights = kept
	return confirmed
}

// abandon gives up all flights, with a client that will not resend them.
func (o *outbox) abandon() {
	for _, f := range o.flights {
		f.lost()
	}
	clear(o.flights)
	o.flights = o.flights[:0]
}

// failed reports whether the client has refused a message already.
func failed(t paho.Token) bool {
	select {
	case <-t.Done():
		return t.Error() != nil
	default:
		return false
	}
}
