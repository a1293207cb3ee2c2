package mqtt

import (
	"context"
	"crypto/tls"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTimeout = 5 * time.Second
	maxReconnect   = 10 * time.Second
	// silentAfter is how long a client may go without trying to connect before
	// it counts as dead; its own pauses are at most maxReconnect.
	silentAfter = 45 * time.Second
)

const willLine = "WATCH LOST: nobody is watching the rig"

// session is one client and what must be known about its connections. A
// client reconnects by itself; only a dead one is replaced.
type session struct {
	client paho.Client
	store  *paho.OrderedMemoryStore
	cancel context.CancelFunc // ends dialling
	ups    atomic.Uint64      // connections made
	dialed atomic.Int64       // real time of the newest attempt, ns

	mu   sync.Mutex
	conn net.Conn // the newest
}

// open starts a client. It returns at once: a broker that is not there yet is
// tried again for as long as ctx lasts.
//
// Settings, for paho.mqtt.golang v1.5.1: with ConnectRetry the session must
// not be clean, or what is said before the first connection is thrown away.
// The protocol is fixed, or a silent broker is tried twice in a row. Handlers
// must not hold up the reader (OrderMatters). The store keeps the order.
// MaxResumePubInFlight stays off: its goroutine races with a reconnect
// (client.go, resume reads c.stop), and maxFlights bounds the store anyway.
func (p *Publisher) open(ctx context.Context) *session {
	s := &session{store: paho.NewOrderedMemoryStore()}
	s.dialed.Store(time.Now().UnixNano())
	ctx, s.cancel = context.WithCancel(ctx)
	o := paho.NewClientOptions().
		AddBroker(p.o.Broker).
		SetClientID(p.o.ClientID).
		SetUsername(p.o.User).
		SetPassword(p.o.Password).
		SetProtocolVersion(4).
		SetAutoReconnect(true).
		SetConnectRetry(true).
		SetConnectRetryInterval(2*time.Second).
		SetMaxReconnectInterval(maxReconnect).
		SetCleanSession(false).
		SetResumeSubs(false).
		SetOrderMatters(false).
		SetKeepAlive(10*time.Second).
		SetPingTimeout(3*time.Second).
		SetWriteTimeout(3*time.Second).
		SetConnectTimeout(connectTimeout).
		SetStore(s.store).
		SetWill(p.o.Topics.Status(), willLine, 1, true).
		SetDefaultPublishHandler(p.command).
		SetOnConnectHandler(func(paho.Client) {
			s.ups.Add(1)
			p.connects.Add(1)
		}).
		SetConnectionNotificationHandler(p.connection)
	o.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
		s.dialed.Store(time.Now().UnixNano())
		return s.dial(ctx, p.host, p.o.TLS)
	})
	s.client = paho.NewClient(o)
	s.client.Connect()
	return s
}

// dial opens the network connection. It is our own so that it ends with ctx,
// ignores proxies that the environment names, and can be cut.
func (s *session) dial(ctx context.Context, host string, conf *tls.Config) (conn net.Conn, err error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	if conf == nil {
		conn, err = new(net.Dialer).DialContext(ctx, "tcp", host)
	} else {
		conn, err = (&tls.Dialer{Config: conf}).DialContext(ctx, "tcp", host)
	}
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	s.conn = conn
	s.mu.Unlock()
	if ctx.Err() != nil { // close came in between and has not seen conn
		conn.Close()
		return nil, ctx.Err()
	}
	return conn, nil
}

// cut breaks the connection without a goodbye, so that the broker sends the
// will. The client does not notice by itself.
func (s *session) cut() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil {
		s.conn.Close()
	}
}

// close ends the client for good and does not wait. Its goroutines follow
// within its longest pause.
func (s *session) close() {
	s.cancel()
	s.cut()
	s.client.Disconnect(0)
}

// silent reports whether the client has stopped trying to connect.
func (s *session) silent(now time.Time) bool {
	return !s.client.IsConnectionOpen() && now.Sub(time.Unix(0, s.dialed.Load())) > silentAfter
}

// connection logs what happens to the connection: the first failure of a row
// at once, then one a minute with a count.
func (p *Publisher) connection(_ paho.Client, n paho.ConnectionNotification) {
	switch n := n.(type) {
	case paho.ConnectionNotificationFailed:
		if held, ok := p.failures.admit(time.Now()); ok {
			p.o.Log.Warn("mqtt: connect", "broker", p.host, "err", n.Reason, "alike_before", held)
		}
	case paho.ConnectionNotificationLost:
		if held, ok := p.failures.admit(time.Now()); ok {
			p.o.Log.Warn("mqtt: connection lost", "broker", p.host, "err", n.Reason, "alike_before", held)
		}
	}
}

// command judges a message to the daemon; the client calls it in a goroutine
// of its own.
func (p *Publisher) command(_ paho.Client, m paho.Message) {
	c, err := parseCommand(p.o.Topics, m.Topic(), m.Payload(), m.Retained(), p.o.Clock.Now())
	if err == nil {
		p.o.OnCommand(c)
		return
	}
	if held, ok := p.refusals.admit(time.Now()); ok {
		topic := m.Topic()
		p.o.Log.Warn("mqtt: command refused", "topic", topic[:min(len(topic), 200)], "err", err, "alike_before", held)
	}
}
