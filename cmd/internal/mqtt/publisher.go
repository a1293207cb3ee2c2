package mqtt

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// Opts of a Publisher. All are needed except User, Password, TLS, Refresh and
// Version.
type Opts struct {
	Broker    string      // mqtt://host:1883 (also tcp://) or mqtts://host:8883 (also tls://, ssl://)
	ClientID  string      // stable, and one per daemon: a twin would be kicked out
	User      string      // "": none
	Password  string      // already read from its file
	TLS       *tls.Config // needed with mqtts, refused without
	Topics    names.Topics
	Channels  []sensors.Channel // derived ones too
	Rules     []alarms.Rule
	Refresh   time.Duration // an unchanged reading is sent again after this; 0: 60 s
	Boot      string        // id of this boot
	Start     time.Time     // when the daemon started to watch
	MonoStart float64       // s from boot to Start
	Clock     sensors.Clock
	Log       *slog.Logger
	Version   string

	// OnCommand is called from goroutines of the client and must not block.
	OnCommand func(Command)
}

// Stats of a Publisher since New.
type Stats struct {
	Connected bool
	Connects  uint64 // connections made
	Rebuilds  uint64 // clients thrown away because a broker stopped confirming
	Published uint64 // messages confirmed by the broker; for QoS 0: written
	Dropped   uint64 // transitions, events and lines that nobody will hear
}

// Publisher sends what Update brought. Make one with New; Run it once.
type Publisher struct {
	o        Opts
	host     string // of the broker, with its port
	secure   bool
	channels map[string]int // index into o.Channels
	topics   []string       // of their readings
	rules    map[string]int // index into o.Rules
	stall    time.Duration  // without a confirmation for this long, the client is dropped

	mu     sync.Mutex // guards box, queue and advice
	box    mailbox
	queue  ring
	advice []byte

	wake    chan struct{}
	session atomic.Pointer[session]

	connects, rebuilds, published, dropped atomic.Uint64

	failures, refusals pace

	// Owned by Run.
	now    mailbox           // the newest Update
	latest []sensors.Reading // of each of o.Channels
	said   told
	storms []storm // whose lines wait; one for each cause
	out    outbox
	seen   uint64     // connections of the session that said belongs to
	settle int        // looks at the store that must still find it empty
	asked  paho.Token // the subscription while it is not answered
	upAt   time.Time  // real time of the last connection
	flaps  int        // connections in a row that did not last
	beats  uint64
	warned map[string]bool // unknown channels and alarms that were logged
}

// mailbox is what one Update brought.
type mailbox struct {
	fresh    bool
	now      time.Time
	readings []sensors.Reading
	alarms   []alarms.Alarm
	phase    string
}

// New checks o and returns a Publisher at rest; it does no I/O.
func New(o Opts) (*Publisher, error) {
	p := &Publisher{
		o: o, stall: stallAfter, wake: make(chan struct{}, 1),
		channels: make(map[string]int, len(o.Channels)),
		rules:    make(map[string]int, len(o.Rules)),
		latest:   make([]sensors.Reading, len(o.Channels)),
		warned:   map[string]bool{},
		refusals: pace{burst: 10},
	}
	p.o.Channels, p.o.Rules = slices.Clone(o.Channels), slices.Clone(o.Rules)
	if p.o.Refresh == 0 {
		p.o.Refresh = time.Minute
	}
	if err := p.address(); err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	switch {
	case o.ClientID == "":
		return nil, errors.New("mqtt: client id: missing")
	case o.Topics == (names.Topics{}):
		return nil, errors.New("mqtt: topics: missing")
	case o.Start.IsZero():
		return nil, errors.New("mqtt: start: missing")
	case o.Clock == nil || o.Log == nil || o.OnCommand == nil:
		return nil, errors.New("mqtt: clock, log and a taker of commands are needed")
	case p.o.Refresh < minGap:
		return nil, fmt.Errorf("mqtt: refresh: %v is shorter than %v", o.Refresh, minGap)
	case o.Password != "" && o.User == "":
		return nil, errors.New("mqtt: password: needs a user")
	}
	for i, c := range p.o.Channels {
		p.channels[c.Name] = i
		p.topics = append(p.topics, o.Topics.Reading(c.Name))
	}
	for i, r := range p.o.Rules {
		if _, ok := p.channels[r.Channel]; !ok {
			return nil, fmt.Errorf("mqtt: rule %s: channel %q: no such channel", r.Name, r.Channel)
		}
		p.rules[r.Name] = i
	}
	p.said.reset(len(p.o.Rules), len(p.o.Channels))
	return p, nil
}

// address takes the broker's URL apart. The URL is not shown where it holds a
// password.
func (p *Publisher) address() error {
	u, err := url.Parse(p.o.Broker)
	if err != nil {
		return errors.New("broker: not a URL, want mqtt://host:port")
	}
	if u.User != nil {
		return errors.New("broker: user and password do not belong into the URL")
	}
	port := "1883"
	switch u.Scheme {
	case "mqtt", "tcp":
		if p.o.TLS != nil {
			return fmt.Errorf("broker: %s is not encrypted but TLS is set up: write mqtts://", p.o.Broker)
		}
	case "mqtts", "tls", "ssl":
		if p.o.TLS == nil {
			return fmt.Errorf("broker: %s needs TLS to be set up", p.o.Broker)
		}
		p.secure, port = true, "8883"
	default:
		return fmt.Errorf("broker: %q: want mqtt://host:port or mqtts://host:port", p.o.Broker)
	}
	if u.Hostname() == "" {
		return fmt.Errorf("broker: %q: no host", p.o.Broker)
	}
	if u.Port() != "" {
		port = u.Port()
	}
	p.host = net.JoinHostPort(u.Hostname(), port)
	return nil
}

// Update hands over the state at the end of a tick. It copies under a short
// lock, never waits for the network and does not allocate once the buffers
// have grown. A newer Update replaces an older one that was not sent yet;
// transitions are kept. One goroutine calls it.
func (p *Publisher) Update(now time.Time, readings []sensors.Reading, as []alarms.Alarm, trs []alarms.Transition, phase string) {
	p.mu.Lock()
	p.box.fresh, p.box.now, p.box.phase = true, now, phase
	p.box.readings = append(p.box.readings[:0], readings...)
	p.box.alarms = append(p.box.alarms[:0], as...)
	for _, tr := range trs {
		if p.queue.push(tr) {
			p.dropped.Add(1)
		}
	}
	p.mu.Unlock()
	select {
	case p.wake <- struct{}{}:
	default: // Run will look anyway
	}
}

// Advise hands over what may be wrong with the rig, as one JSON text; it is sent
// when it differs from the last. It copies, as Update does.
func (p *Publisher) Advise(payload []byte) {
	p.mu.Lock()
	p.advice = append(p.advice[:0], payload...)
	p.mu.Unlock()
}

// take fetches the newest Update into p.now; false if there is none.
func (p *Publisher) take() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.box.fresh {
		return false
	}
	p.box, p.now = p.now, p.box
	p.box.fresh = false
	return true
}

// next fetches the oldest transition that nobody was told.
func (p *Publisher) next() (alarms.Transition, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.queue.pop()
}

// Stats may be called from any goroutine.
func (p *Publisher) Stats() Stats {
	s := p.session.Load()
	return Stats{
		Connected: s != nil && s.client.IsConnectionOpen(),
		Connects:  p.connects.Load(),
		Rebuilds:  p.rebuilds.Load(),
		Published: p.published.Load(),
		Dropped:   p.dropped.Load(),
	}
}
