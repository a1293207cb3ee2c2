package mqtt

import (
	"context"
	"slices"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// What the last connection left unsaid goes first; until the store is empty
// nothing new is said. Then the status comes first and the subscription last.
func TestSpeakWaitsForTheStore(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	c := &fakeClient{}
	s := &session{client: c, store: paho.NewOrderedMemoryStore()}
	s.store.Open()
	s.store.Put("o.1", packets.NewControlPacket(packets.Publish))
	tick := update(p)
	speak := func() {
		tick()
		p.take()
		p.speak(context.Background(), s)
	}
	speak()
	if len(c.topics) != 0 {
		t.Fatalf("before the first connection it said %v", c.topics)
	}
	s.ups.Store(1)
	for range 5 {
		speak()
	}
	if len(c.topics) != 0 {
		t.Fatalf("with an old message still in the store it said %v", c.topics)
	}
	s.store.Del("o.1")
	for range settleLooks {
		speak()
	}
	top := p.o.Topics
	if len(c.topics) == 0 || c.topics[0] != top.Status() || c.topics[len(c.topics)-1] != top.Do() {
		t.Fatalf("it said %v", c.topics)
	}
	for _, want := range []string{top.Alarm("co_evacuate"), top.Events(), top.Summary(), top.Heartbeat(), top.Reading("co")} {
		if !slices.Contains(c.topics, want) {
			t.Errorf("%s is missing in %v", want, c.topics)
		}
	}

	c.topics = nil
	speak() // the one transition of each tick, and nothing that is known already
	if want := []string{top.Notify(), top.Events()}; !slices.Equal(c.topics, want) && !slices.Equal(c.topics, want[1:]) {
		t.Errorf("then it said %v", c.topics)
	}
	p.Advise([]byte(`[{"cause":"tar"}]`))
	c.topics = nil
	speak()
	if !slices.Contains(c.topics, top.Diagnosis()) {
		t.Errorf("advice was not said: %v", c.topics)
	}
	p.Advise([]byte(`[{"cause":"tar"}]`)) // the same again
	c.topics = nil
	speak()
	if slices.Contains(c.topics, top.Diagnosis()) {
		t.Errorf("the same advice was said twice: %v", c.topics)
	}
	s.ups.Store(2) // a new connection knows nothing
	c.topics = nil
	for range settleLooks {
		speak()
	}
	if !slices.Contains(c.topics, top.Status()) || !slices.Contains(c.topics, top.Alarm("co_evacuate")) || !slices.Contains(c.topics, top.Diagnosis()) {
		t.Errorf("on a new connection it said %v", c.topics)
	}
}

// After cancel nothing more is handed to a client that may block.
func TestSpeakEndsWithTheContext(t *testing.T) {
	p := pumpPublisher(t, pumpOpts(t, "mqtt://127.0.0.1"))
	c := &fakeClient{}
	s := &session{client: c, store: paho.NewOrderedMemoryStore()}
	s.store.Open()
	s.ups.Store(1)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	tick := update(p)
	for range settleLooks + 1 {
		tick()
		p.take()
		p.speak(ctx, s)
	}
	if len(c.topics) != 0 {
		t.Errorf("said %v", c.topics)
	}
}
