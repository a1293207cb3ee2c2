package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"charwarden/cmd/internal/metrics"
	"charwarden/cmd/internal/mqtt"
	"charwarden/cmd/internal/names"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// watch is the whole daemon: `run` with the machine's board and clock, `demo`
// with simulated ones.
type watch struct {
	cfg   *config.Config
	board sensors.Board
	clock sensors.Clock
	log   *slog.Logger
	more  []output // served last

	prepare func(*saved)                   // changes what was saved before it is used; nil: nothing
	boot    func() (string, time.Duration) // which boot of the machine this is, and its age; nil: the system's

	parts []part
	rig   *rig
	loop  *loop
	http  *metrics.Exporter
	mqtt  *mqtt.Publisher
	flood flood // of refused commands
}

// part is a goroutine of the daemon. Only the loop's end ends the daemon.
type part struct {
	name string
	run  func(context.Context) error
}

// stopLimit bounds how long the end waits for owners whose bus hangs.
const stopLimit = 3 * time.Second

// assemble builds all parts and starts none.
func (w *watch) assemble() error {
	w.printWarnings()
	state := newStateFile(w.cfg.State, w.log)
	was := state.load()
	if w.prepare != nil {
		w.prepare(&was)
	}
	var err error
	if w.rig, err = wire(w.cfg, w.board, w.clock, was.Zeros); err != nil {
		return err
	}
	base := w.clock.Now()
	base = base.Add(-time.Duration(base.Nanosecond()) % time.Millisecond)
	c, err := newCore(w.cfg, base)
	if err != nil {
		return err
	}
	w.loop = &loop{
		clock: w.clock, tick: w.cfg.Tick, rig: w.rig, grain: newGrain(w.cfg), core: c, saved: was,
		requests: make(chan request, perTick), alive: newNotifier(), state: state, log: w.log,
	}
	c.correct = func(channel string, k *cared) { w.rig.sweep.Correct(channel, k.Zero, k.span()) }
	c.signals = newSignals(w.cfg.Outputs, w.board, w.clock, c, w.log)
	c.signals.permit.Restore(was.Permit)
	stands, errs := c.restore(base, was)
	c.made = append(c.made, stands...)
	for _, err := range errs {
		w.log.Error("not restored", "err", err)
	}
	local := &desk{path: w.cfg.Socket, rig: w.rig, signals: c.signals, requests: w.loop.requests, log: w.log}
	w.parts = []part{{"state", state.Run}, {"socket", local.Run}, {"siren", c.signals.siren.Run}}
	for _, o := range w.rig.owners {
		w.parts = append(w.parts, part{"bus " + o.Name(), o.Run})
	}
	if err := w.runLog(was); err != nil {
		return err
	}
	local.book = w.loop.book
	if err := w.exporter(); err != nil {
		return err
	}
	if err := w.publisher(); err != nil {
		return err
	}
	w.loop.outputs = append(w.loop.outputs, local.update)
	w.loop.outputs = append(w.loop.outputs, w.more...)
	return nil
}

// start watches until ctx ends; assemble comes first. Parts that fail are said
// and started again; a part whose bus hangs is left behind at the end.
func (w *watch) start(ctx context.Context) error {
	// The parts outlive the loop: its last tick may have something to store.
	loopCtx := ctx
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	var wg sync.WaitGroup
	for _, p := range w.parts {
		wg.Go(func() { w.keep(ctx, p) })
	}
	w.log.Info("watching", "rig", w.cfg.Rig.Name, "channels", len(w.cfg.Channels), "alarms", len(w.cfg.Rules))
	err := w.loop.Run(loopCtx)
	cancel()
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	select {
	case <-done:
		for _, c := range w.rig.close {
			c.Close()
		}
	case <-time.After(stopLimit):
		w.log.Warn("a bus hangs: not waited for at the end")
	}
	w.log.Info("stopped: nobody is watching the rig now", "ticks", w.loop.frame.health.ticks, "missed", w.loop.frame.health.missed)
	return err
}

// keep runs a part until ctx ends, again after a failure.
func (w *watch) keep(ctx context.Context, p part) {
	for {
		err := p.run(ctx)
		if ctx.Err() != nil || err == nil {
			return
		}
		w.log.Error("part of the daemon failed; starting it again in 5 s", "part", p.name, "err", err)
		wait(ctx, 5*time.Second)
	}
}

// runLog adds what remembers every run.
func (w *watch) runLog(was saved) error {
	l := w.cfg.RunLog
	if l.Dir == "" {
		return nil
	}
	state, err := json.Marshal(was)
	if err != nil {
		return fmt.Errorf("run log: state: %w", err)
	}
	writer := runlog.New(runlog.Opts{Dir: l.Dir, Log: w.log, Now: time.Now,
		Keep: runlog.Keep{Age: l.Age, Bytes: l.Bytes, Runs: l.Runs}})
	w.parts = append(w.parts, part{"run log", writer.Run})
	boot, age := w.booted()
	head := runlog.Head{Rig: w.cfg.Rig.Name, Boot: boot, Session: sessionID(), Ms: age.Milliseconds(), Tick: w.cfg.Tick, Version: release}
	w.loop.book = newLogbook(writer, w.loop.core, w.loop.grain, head, string(state), w.rig.places, clockSynced, w.log)
	return nil
}

func (w *watch) booted() (id string, age time.Duration) {
	if w.boot != nil {
		return w.boot()
	}
	return bootID(), sinceBoot()
}

// sessionID tells this life of the daemon from all others.
func sessionID() string { return rand.Text() }

// exporter adds the metrics page. A port that is taken costs the page, not the
// watch: it is tried again.
func (w *watch) exporter() error {
	if w.cfg.Metrics.Listen == "" {
		return nil
	}
	var err error
	w.http, err = metrics.New(metrics.Opts{Listen: w.cfg.Metrics.Listen, Channels: w.loop.core.channels, Rules: w.cfg.Rules,
		Version: release, Commit: commit, Clock: w.clock, Log: w.log})
	if err != nil {
		return err
	}
	if err := w.http.Listen(); err != nil {
		w.log.Error("no metrics for now", "err", err)
	}
	w.parts = append(w.parts, part{"metrics", func(ctx context.Context) error {
		if w.http.Addr() == nil {
			if err := w.http.Listen(); err != nil {
				return err
			}
		}
		return w.http.Run(ctx)
	}})
	w.loop.outputs = append(w.loop.outputs, w.meter())
	return nil
}

// meter is the output that feeds the metrics page.
func (w *watch) meter() output {
	bus := make([]metrics.BusHealth, len(w.rig.owners))
	return func(f *frame) {
		h := metrics.Health{
			Ticks: f.health.ticks, Missed: f.health.missed,
			Step: f.health.step, StepMax: f.health.stepMax, ReadingsDropped: f.health.dropped, ReadingsMissed: f.health.skipped,
			MQTTOff: w.mqtt == nil, LogOff: w.loop.book == nil, Phase: f.phase,
		}
		if w.loop.book != nil {
			s := w.loop.book.w.Stats()
			h.LogQueued, h.LogFile, h.LogDropped, h.LogFaults = s.Queued, s.Bytes, s.Dropped+s.DroppedRecords, s.Faults
		}
		h.PermitHeld, _, h.PermitFitted = w.loop.core.permitState()
		for i, o := range w.rig.owners {
			bus[i] = metrics.BusHealth{Name: o.Name(), Stuck: o.Stuck(f.now)}
		}
		h.Bus = bus
		if w.mqtt != nil {
			s := w.mqtt.Stats()
			h.MQTTConnected, h.MQTTConnects, h.MQTTRebuilds = s.Connected, s.Connects, s.Rebuilds
			h.MQTTPublished, h.MQTTDropped = s.Published, s.Dropped
		}
		w.http.Update(f.now, f.readings, f.alarms, h)
	}
}

// publisher adds the way to phones.
func (w *watch) publisher() error {
	m := w.cfg.MQTT
	if m.Broker == "" {
		return nil
	}
	topics, err := names.NewTopics(m.Prefix, w.cfg.Rig.Name)
	if err != nil {
		return err
	}
	w.loop.away = w.brokerAway()
	password, secure, err := credentials(&m)
	if err != nil { // a rig that is watched without a phone is better than none
		w.log.Error("no phone is told: mend this and restart", "err", err)
		return nil
	}
	boot, age := w.booted()
	w.mqtt, err = mqtt.New(mqtt.Opts{
		Broker: m.Broker, ClientID: m.ClientID, User: m.User, Password: password, TLS: secure,
		Topics: topics, Channels: w.loop.core.channels, Rules: w.cfg.Rules, Refresh: m.Refresh,
		Boot: boot, Start: w.clock.Now(), MonoStart: age.Seconds(), Clock: w.clock, Log: w.log, Version: release,
		OnCommand: w.command,
	})
	if err != nil {
		return err
	}
	w.parts = append(w.parts, part{"mqtt", w.mqtt.Run})
	w.loop.outputs = append(w.loop.outputs, func(f *frame) {
		w.mqtt.Update(f.now, f.readings, f.alarms, f.transitions, f.phase.String())
	}, w.advice())
	return nil
}

// adviceEvery is how often what may be wrong is put into words.
const adviceEvery = 10 * time.Second

// advice tells the phones what may be wrong with the rig.
func (w *watch) advice() output {
	var next time.Time
	return func(f *frame) {
		if f.now.Before(next) {
			return
		}
		next = f.now.Add(adviceEvery)
		if payload, err := json.Marshal(causeRows(w.loop.core)); err == nil { // nothing in it fails
			w.mqtt.Advise(payload)
		}
	}
}

// brokerAway returns how long the broker has been away, for the loop.
func (w *watch) brokerAway() func(time.Time) time.Duration {
	seen := w.clock.Now()
	return func(now time.Time) time.Duration {
		if w.mqtt != nil && w.mqtt.Stats().Connected {
			seen = now
		}
		return now.Sub(seen)
	}
}

// command takes what a phone asked for; it must not block. The phone learns of
// success from the daemon's own state.
func (w *watch) command(c mqtt.Command) {
	log := w.log.With("person", c.Person, "verb", c.Verb)
	refuse := func(err error) { log.Warn("command refused", "err", err) }
	todo, err := phoneDeed(c)
	if err != nil {
		refuse(err)
		return
	}
	do := func(now time.Time, core *core) {
		if _, err := core.carryOut(now, c.Person, todo); err != nil {
			refuse(err)
			return
		}
		log.Info("command", todo.order.about()...)
	}
	select {
	case w.loop.requests <- do:
	default:
		w.flood.log(w.log, w.clock.Now(), []any{"person", c.Person, "verb", c.Verb, "err", errTooMany})
	}
}

// phoneDeed is what a phone may ask for.
func phoneDeed(c mqtt.Command) (deed, error) {
	var o order = bare{}
	switch c.Verb {
	case "silence":
	case "note":
		o = noteOrder{c.Text}
	case "ack":
		name, seq, err := mqtt.ParseAck(c.Text)
		if err != nil {
			return deed{}, err
		}
		o = ackOrder{name, seq}
	default:
		return deed{}, errors.New("not by phone: do it at the rig")
	}
	return deedOf(c.Verb, o)
}

// sinceBoot is the time since the machine started, sleep included.
func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// unsafeState reports whether a directory lies in memory.
func unsafeState(dir string) bool {
	var fs unix.Statfs_t
	if unix.Statfs(dir, &fs) != nil {
		return false
	}
	kind := uint32(fs.Type) // signed and of 32 bits on ARMv6
	return kind == unix.TMPFS_MAGIC || kind == unix.RAMFS_MAGIC
}
