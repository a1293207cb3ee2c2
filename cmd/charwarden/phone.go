package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// phone is the operator's phone in `demo`: a plain MQTT client that shows what
// any client would get, through the broker and back.
type phone struct {
	broker string
	topics names.Topics
	clock  sensors.Clock
	say    func(who, text string)
}

// phoneLimit is how long a phone waits for a heartbeat before it says that
// nobody is watching.
const phoneLimit = 10 * time.Second

// Run listens until ctx ends.
func (p *phone) Run(ctx context.Context) error {
	beats := make(chan struct{}, 1)
	o := paho.NewClientOptions().AddBroker("tcp://" + p.broker).SetClientID("demo-phone").
		SetAutoReconnect(true).SetConnectRetry(true).SetConnectRetryInterval(time.Second).
		SetMaxReconnectInterval(time.Second).SetKeepAlive(5 * time.Second).SetOrderMatters(true)
	o.SetOnConnectHandler(func(c paho.Client) {
		c.SubscribeMultiple(map[string]byte{p.topics.Notify(): 1, p.topics.Status(): 1, p.topics.Heartbeat(): 0},
			func(_ paho.Client, m paho.Message) { p.message(m, beats) })
	})
	c := paho.NewClient(o)
	c.Connect()
	defer c.Disconnect(100)
	p.heart(ctx, beats)
	return nil
}

func (p *phone) message(m paho.Message, beats chan<- struct{}) {
	switch m.Topic() {
	case p.topics.Heartbeat():
		select {
		case beats <- struct{}{}:
		default:
		}
	case p.topics.Status():
		p.say("phone", "status: "+string(m.Payload()))
	default:
		p.say("phone", strings.TrimSpace(string(m.Payload())))
	}
}

// heart tells when the heartbeat stops and when it is back. A clock that runs
// fast makes the network look slow: half a second of real silence is needed too.
func (p *phone) heart(ctx context.Context, beats <-chan struct{}) {
	var last, real time.Time
	watched := false
	for ctx.Err() == nil {
		p.clock.Sleep(ctx, time.Second)
		select {
		case <-beats:
			last, real = p.clock.Now(), time.Now()
			if !watched {
				watched = true
				p.say("phone", "heartbeat: the rig is being watched")
			}
		default:
			if gap := p.clock.Now().Sub(last); watched && gap > phoneLimit && time.Since(real) > time.Second/2 {
				watched = false
				p.say("phone", fmt.Sprintf("no heartbeat for %.0f s: NOBODY IS WATCHING, as far as this phone can tell", gap.Seconds()))
			}
		}
	}
}
