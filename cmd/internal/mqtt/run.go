package mqtt

import (
	"context"
	"net"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	// stallAfter without a confirmation on an open connection means that the
	// client or the broker hangs. The keep-alive notices a dead link before.
	stallAfter = 15 * time.Second
	housekeep  = 250 * time.Millisecond // real time between two looks at the flights; each Update is one
	steady     = 5 * time.Second        // a connection that lasts this long is no flap
)

// Run connects and publishes until ctx ends, then says that nobody is
// watching any more, and returns nil. It takes at most 2 s to leave, 3 s more
// where the link was jammed at that moment.
func (p *Publisher) Run(ctx context.Context) error {
	p.warnClear()
	s := p.open(ctx)
	p.session.Store(s)
	tick := time.NewTicker(housekeep)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			p.farewell(s)
			return nil
		case <-p.wake:
			tick.Reset(housekeep) // not a wake of its own while the loop lives
			if p.take() {
				p.speak(ctx, s)
			}
		case <-tick.C:
		}
		now := time.Now()
		p.published.Add(p.out.reap(now))
		p.answered()
		if p.stuck(s, now) || s.silent(now) {
			s = p.rebuild(ctx, s)
		}
	}
}

// speak says what the newest Update changed, the most urgent first. What finds
// no room stays unsaid until the next Update.
func (p *Publisher) speak(ctx context.Context, s *session) {
	p.place()
	if !s.client.IsConnectionOpen() {
		return
	}
	now := time.Now()
	ups := s.ups.Load()
	if ups == 0 { // open, but OnConnect is still to come
		return
	}
	if ups != p.seen {
		p.greet(s, ups, now)
	}
	if p.settle > 0 {
		// What the last connection left unsaid goes first. Otherwise the old
		// state of an alarm could arrive behind the new one and stay retained.
		if len(s.store.All()) > 0 {
			p.settle = settleLooks
			return
		}
		if p.settle--; p.settle > 0 {
			return
		}
		p.out.progress = now
	}
	for _, say := range []func() bool{p.sayStatus, p.sayAlarms, p.sayTransitions, p.saySummary, p.sayAdvice, p.sayBeat, p.sayReadings} {
		if ctx.Err() != nil || !say() {
			return
		}
	}
	if !p.said.subscribed {
		p.subscribe(s)
	}
}

// settleLooks in a row must find the store empty.
const settleLooks = 2

// greet begins a new connection.
func (p *Publisher) greet(s *session, ups uint64, now time.Time) {
	p.seen, p.settle = ups, settleLooks
	p.asked = nil
	p.out.begin(s.client, now)
	p.said.reset(len(p.o.Rules), len(p.o.Channels))
	if now.Sub(p.upAt) < steady {
		p.flaps++
	} else {
		p.flaps = 0
		p.failures.reset()
	}
	p.upAt = now
	switch p.flaps {
	case 0:
		p.o.Log.Info("mqtt: connected", "broker", p.host)
	case 3:
		p.o.Log.Warn("mqtt: the broker keeps dropping us: is another daemon using our client id?",
			"broker", p.host, "client_id", p.o.ClientID)
	}
}

// subscribe asks for commands, at QoS 0: the broker keeps none for a daemon
// that is away, so no old command comes true at the next start.
func (p *Publisher) subscribe(s *session) {
	token := s.client.Subscribe(p.o.Topics.Do(), 0, p.command)
	if failed(token) {
		return // again with the next Update
	}
	p.said.subscribed, p.asked = true, token
}

// answered looks whether the broker has answered the subscription.
func (p *Publisher) answered() {
	if p.asked == nil {
		return
	}
	select {
	case <-p.asked.Done():
	default:
		return
	}
	token := p.asked.(*paho.SubscribeToken)
	p.asked = nil
	if token.Error() != nil {
		p.said.subscribed = false // again with the next Update
	} else if token.Result()[p.o.Topics.Do()] == refusedSubscription {
		p.o.Log.Error("mqtt: the broker refuses us the commands of phones: let its access rules grant them",
			"filter", p.o.Topics.Do(), "user", p.o.User)
	}
}

// refusedSubscription is the failure code of a SUBACK (OASIS MQTT 3.1.1, 3.9.3).
const refusedSubscription = 0x80

// stuck reports whether the broker owes a confirmation for too long.
func (p *Publisher) stuck(s *session, now time.Time) bool {
	waiting := len(p.out.flights) > 0 || p.settle > 0 && len(s.store.All()) > 0
	return waiting && s.client.IsConnectionOpen() && now.Sub(p.out.progress) > p.stall
}

// rebuild replaces a client that hangs.
func (p *Publisher) rebuild(ctx context.Context, s *session) *session {
	p.o.Log.Warn("mqtt: the client hangs: starting a new one", "broker", p.host)
	s.close()
	p.out.abandon()
	p.rebuilds.Add(1)
	p.seen, p.settle, p.asked = 0, 0, nil
	s = p.open(ctx)
	p.session.Store(s)
	return s
}

// farewell leaves in order if the broker confirms our last words within a
// second; if not, or while old words are still on their way, the connection is
// cut and the will speaks.
func (p *Publisher) farewell(s *session) {
	defer s.close()
	if !s.client.IsConnectionOpen() || p.settle > 0 {
		return
	}
	words := "WATCH LOST: stopped by the operator at " + seconds(p.o.Clock.Now())
	done := make(chan struct{})
	go func() { // Publish itself may block, for at most the write timeout
		defer close(done)
		token := s.client.Publish(p.o.Topics.Status(), 1, true, words)
		if token.WaitTimeout(time.Second) && token.Error() == nil {
			s.client.Disconnect(250)
		}
	}()
	select {
	case <-done:
	case <-time.After(1500 * time.Millisecond):
	}
}

// warnClear tells once that the password can be read on the way.
func (p *Publisher) warnClear() {
	host, _, _ := net.SplitHostPort(p.host)
	if ip := net.ParseIP(host); p.secure || p.o.User == "" || host == "localhost" || ip.IsLoopback() {
		return
	}
	p.o.Log.Warn("mqtt: the password goes over the network in clear: use mqtts", "broker", p.host)
}
