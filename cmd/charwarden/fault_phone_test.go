package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"charwarden/config"
	"charwarden/sensors/sim"
)

// What a phone is shown of a fault: the word in place of a value, the alarm and
// its line for people; and that it has gone.
func TestFaultsAtThePhone(t *testing.T) {
	broker := &demoBroker{}
	if err := broker.start(); err != nil {
		t.Fatal(err)
	}
	defer broker.stop()
	b := newBenchRig(t, func(c *config.Config) { c.MQTT.Broker = "tcp://" + broker.addr })
	b.parts = append(b.parts, part{"mqtt", b.mqtt.Run})
	kim := newHandset(t, broker.addr, "kim", "")
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.start(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	for _, f := range []struct {
		channel, word, means string
		begin, end           func(*benchRig)
	}{
		{"wall_near", "open", "CAUTION wall_near_fault: wall_near gives no value (open)", couple(sim.Open), couple(sim.Whole)},
		{"supply", "no_answer", "NOTICE supply_fault: supply gives no value (no_answer)", nack(inaAddr, -1), nack(inaAddr, 0)},
		{"co", "clipped_low", "ALARM co_fault: co gives no value (clipped_low)", force(2, 0), free(2)},
	} {
		within(t, 15*time.Second, f.channel+" is good", func() bool { return b.status(f.channel) == "good" })
		kim.forget()
		f.begin(b)
		within(t, 15*time.Second, "the word "+f.word, kim.hears("reading/"+f.channel, `"status":"`+f.word+`"`))
		if got := kim.newest("reading/" + f.channel); !strings.Contains(got, `"value":null`) {
			t.Errorf("%s: a value beside a fault: %s", f.word, got)
		}
		alarm := f.channel + "_fault"
		within(t, 15*time.Second, alarm, kim.hears("alarm/"+alarm, `"state":"unacknowledged"`))
		within(t, 15*time.Second, "the line of "+alarm, kim.hears("notify", f.means))
		f.end(b)
		within(t, 15*time.Second, f.channel+" is good again", kim.hears("reading/"+f.channel, `"status":"good"`))
		within(t, 20*time.Second, "that it has gone", func() bool {
			return kim.hears("alarm/"+alarm, `"state":"returned"`)() || kim.hears("alarm/"+alarm, `"state":"latched"`)()
		})
	}
}
