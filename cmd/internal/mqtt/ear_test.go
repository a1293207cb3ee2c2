package mqtt

import (
	"slices"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// ear is a phone: it hears everything below the rig's topic.
type ear struct {
	client paho.Client
	mu     sync.Mutex
	heard  []heard
}

type heard struct {
	topic, payload string
	retained       bool // was there before the phone
}

func listen(t *testing.T, broker, id string, change func(*paho.ClientOptions)) *ear {
	t.Helper()
	e := &ear{}
	o := paho.NewClientOptions().AddBroker(broker).SetClientID(id).SetAutoReconnect(false).
		SetConnectTimeout(2 * time.Second)
	if change != nil {
		change(o)
	}
	e.client = paho.NewClient(o)
	ok := func(what string, token paho.Token) {
		t.Helper()
		if !token.WaitTimeout(3*time.Second) || token.Error() != nil {
			t.Fatalf("phone: %s: %v", what, token.Error())
		}
	}
	ok("connect", e.client.Connect())
	ok("subscribe", e.client.Subscribe("charwarden/pump/#", 1, func(_ paho.Client, m paho.Message) {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.heard = append(e.heard, heard{m.Topic(), string(m.Payload()), m.Retained()})
	}))
	t.Cleanup(func() { e.client.Disconnect(10) })
	return e
}

func (e *ear) say(t *testing.T, topic, payload string, retained bool) {
	t.Helper()
	token := e.client.Publish(topic, 1, retained, payload)
	if !token.WaitTimeout(3*time.Second) || token.Error() != nil {
		t.Fatalf("phone: publish %s: %v", topic, token.Error())
	}
}

// has reports whether a message on the topic satisfied ok.
func (e *ear) has(topic string, ok func(heard) bool) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.ContainsFunc(e.heard, func(h heard) bool { return h.topic == "charwarden/pump/"+topic && ok(h) })
}

// forget clears what was heard.
func (e *ear) forget() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.heard = nil
}
