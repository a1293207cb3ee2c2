package main

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/config"
)

// subscriber runs mosquitto_sub and hands over each line with its time.
func subscriber(b *testing.B, broker, topic string) <-chan timedLine {
	b.Helper()
	host, port, _ := net.SplitHostPort(broker)
	cmd := exec.Command(debian(b, "mosquitto_sub", "mosquitto-clients"), "-h", host, "-p", port, "-q", "1", "-t", topic)
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	lines := make(chan timedLine, 1000)
	go func() {
		for in := bufio.NewScanner(out); in.Scan(); {
			lines <- timedLine{in.Text(), time.Now()}
		}
	}()
	time.Sleep(300 * time.Millisecond) // until the broker knows it
	return lines
}

type timedLine struct {
	text string
	at   time.Time
}

// arrival waits for a line that holds text.
func arrival(b *testing.B, lines <-chan timedLine, text string) time.Time {
	b.Helper()
	limit := time.After(5 * time.Second)
	for {
		select {
		case l := <-lines:
			if strings.Contains(l.text, text) {
				return l.at
			}
		case <-limit:
			b.Fatalf("%q did not arrive", text)
		}
	}
}

// report gives the median and the 99th percentile in ms.
func quantiles(b *testing.B, name string, took []time.Duration) {
	slices.Sort(took)
	ms := func(p float64) float64 { return took[int(p*float64(len(took)-1))].Seconds() * 1e3 }
	b.ReportMetric(ms(0.5), name+"p50-ms")
	b.ReportMetric(ms(0.99), name+"p99-ms")
}

// edges is how many times each way is measured; in turns, so that both ways
// see the same machine.
const edges = 1000

// BenchmarkLoopToSubscriber is the time from the loop's Update with an alarm's
// edge to a line of mosquitto_sub, beside that of mosquitto_pub -l. Aim: not
// slower, at p50 and at p99.
func BenchmarkLoopToSubscriber(b *testing.B) {
	broker := startMosquitto(b)
	cfg := refConfig(b, "tcp://"+broker, "127.0.0.1:9455")
	cfg.Metrics.Listen = ""
	w := &watch{cfg: cfg, board: newCannedBoard(), clock: systemClock{}, log: quiet()}
	if err := w.assemble(); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	go w.mqtt.Run(ctx)
	ours := subscriber(b, broker, "charwarden/pump/alarm/co_alarm")
	theirs := subscriber(b, broker, "anchor")
	host, port, _ := net.SplitHostPort(broker)
	pub := exec.Command(debian(b, "mosquitto_pub", "mosquitto-clients"), "-h", host, "-p", port, "-l", "-t", "anchor")
	in, err := pub.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := pub.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() { in.Close(); pub.Wait() }()

	standing := w.loop.core.engine.Alarms(nil)
	i := slices.IndexFunc(standing, func(a alarms.Alarm) bool { return a.Rule.Name == "co_alarm" })
	edge := func(n uint64) {
		now := time.Now()
		standing[i].State, standing[i].Seq, standing[i].Since, standing[i].Value = alarms.Unacknowledged, n, now, 120
		t := alarms.Transition{At: now, From: alarms.Returned, Alarm: standing[i]}
		w.mqtt.Update(now, w.loop.core.readings, standing, []alarms.Transition{t}, "")
	}
	for !w.mqtt.Stats().Connected { // and until it has said all it retains
		edge(0)
		time.Sleep(100 * time.Millisecond)
	}
	for range 20 {
		edge(0)
		time.Sleep(100 * time.Millisecond)
	}
	for b.Loop() {
		var a, o []time.Duration
		for n := range uint64(edges) {
			t0 := time.Now()
			edge(n + 1)
			o = append(o, arrival(b, ours, fmt.Sprintf(`"seq":%d,`, n+1)).Sub(t0))
			time.Sleep(3 * time.Millisecond)
			t0 = time.Now()
			fmt.Fprintf(in, "line %d.\n", n)
			a = append(a, arrival(b, theirs, fmt.Sprintf("line %d.", n)).Sub(t0))
			time.Sleep(3 * time.Millisecond)
		}
		quantiles(b, "", o)
		quantiles(b, "anchor-", a)
	}
	b.ReportMetric(0, "ns/op")
}

// BenchmarkChipToSubscriber is the time from a step of the CO cell at its
// converter to the alarm at mosquitto_sub. Aim for p99: conversion (4.4 ms at
// 250 SPS, 10 % slow), poll and tick (100 ms each) and 20 ms: 224.4 ms.
func BenchmarkChipToSubscriber(b *testing.B) {
	broker := startMosquitto(b)
	cfg := refConfig(b, "tcp://"+broker, "127.0.0.1:9455")
	cfg.Metrics.Listen = ""
	only(cfg, "co_alarm").OffDelay = 0 // so that it can be raised again and again
	board := newCannedBoard()
	w := &watch{cfg: cfg, board: board, clock: systemClock{}, log: quiet()}
	if err := w.assemble(); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	lines := subscriber(b, broker, "charwarden/pump/alarm/co_alarm")
	go w.start(ctx)
	arrival(b, lines, `"state":"normal"`)
	time.Sleep(2 * time.Second)
	cell := &cfg.COs[0].Cell
	step := int32((cell.Volts(150, 20) - cell.Volts(0, 20)) / 4.096 * 32768)
	for b.Loop() {
		var took []time.Duration
		for n := range 150 {
			time.Sleep(time.Duration(n*37%100) * time.Millisecond) // any phase
			t0 := time.Now()
			board.gas.Store(step)
			took = append(took, arrival(b, lines, `"state":"unacknowledged"`).Sub(t0))
			board.gas.Store(0)
			arrival(b, lines, `"state":"returned"`)
		}
		quantiles(b, "", took)
	}
	b.ReportMetric(0, "ns/op")
}

// only returns a rule of the configuration by its name.
func only(cfg *config.Config, name string) *alarms.Rule {
	i := slices.IndexFunc(cfg.Rules, func(r alarms.Rule) bool { return r.Name == name })
	return &cfg.Rules[i]
}
