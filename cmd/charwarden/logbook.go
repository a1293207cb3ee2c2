package main

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// logbook hands every tick to the run log. It belongs to the loop.
type logbook struct {
	w     *runlog.Writer
	core  *core
	grain *grain
	head  runlog.Head                   // of the file that is written
	wall  func(now time.Time) time.Time // what the wall clock says at a tick
	sure  func() bool                   // the system says that its clock is synchronised
	log   *slog.Logger

	base   time.Time // of the session, at baseMs of the boot
	baseMs int64
	begun  int64 // ms of the file's begin
	hadRun bool  // the file has one, or had
	ended  int64 // ms of its end; 0 while it lasts
	second int64 // of the newest row of seconds
	missed uint64
	phase  phase.Phase
	cells  []runlog.Cell // of what is reckoned
	places []int         // of it in the core's readings
	bands  []came        // of it
	drift  time.Duration // the wall clock against base when the anchor was made
	anchor runlog.Anchor
	ticket runlog.Ticket // of the newest record
	marks  marks
}

const (
	leadIn      = 30 * time.Minute // a run's file may begin this long before it
	idleFile    = 24 * time.Hour   // a file without a run going on is ended after this
	anchorEvery = 10 * time.Minute
	anchorDrift = 100 * time.Millisecond // a wall clock that moves this far is told at once
	moveLeast   = 2 * time.Second        // from which step on the clock counts as set; less is steered
)

// newLogbook begins the first file of a session with the state that the core
// was given.
func newLogbook(w *runlog.Writer, c *core, g *grain, h runlog.Head, state string, places map[string]place, sure func() bool, log *slog.Logger) *logbook {
	b := &logbook{w: w, core: c, grain: g, head: h, log: log, base: c.base, baseMs: h.Ms, phase: phase.Unknown,
		wall: func(now time.Time) time.Time { return now.Round(0) }, sure: sure}
	b.head.Channels = append(g.inputs[:len(g.inputs):len(g.inputs)], loggedReckoned(c.cfg)...)
	for i := range b.head.Channels {
		if p := places[b.head.Channels[i].Name]; p.chip != "" {
			b.head.Channels[i].Place = strings.TrimSpace(p.chip + " " + p.bus)
		}
		if k, cared := c.cared[b.head.Channels[i].Name]; cared {
			b.head.Channels[i].Care = k.String()
		}
	}
	for _, ch := range b.head.Channels[len(g.inputs):] {
		b.places = append(b.places, c.at[ch.Name])
	}
	b.cells, b.bands = make([]runlog.Cell, len(b.places)), make([]came, len(b.places))
	b.open(b.base, state)
	b.sayClock()
	return b
}

// String is what was done to a channel, in words.
func (k *cared) String() string {
	s := fmt.Sprintf("zero %g", k.Zero)
	if !k.ZeroAt.IsZero() {
		s += " of " + k.ZeroAt.UTC().Format(time.DateOnly)
	}
	if k.Span != 0 {
		s += fmt.Sprintf(", span %g of %s", k.Span, k.SpanAt.UTC().Format(time.DateOnly))
	}
	if !k.BumpAt.IsZero() {
		s += ", bump test " + k.BumpAt.UTC().Format(time.DateOnly)
	}
	return s
}

// open begins the session's next file.
func (b *logbook) open(now time.Time, state string) {
	ms := b.ms(now)
	b.head.Part++
	b.head.Ms, b.begun, b.hadRun, b.ended = ms, ms, false, 0
	b.anchorAt(ms, now)
	b.head.Records = append(b.head.Records[:0], b.anchor,
		runlog.Snapshot{Ms: ms, What: "configuration", Text: b.core.cfg.Text},
		runlog.Snapshot{Ms: ms, What: "state", Text: state},
		runlog.PhaseChange{Ms: ms, Phase: phaseWord(b.phase), Forced: b.core.finder.Forced()})
	for _, all := range [][]came{b.grain.came, b.bands} {
		for i := range all {
			if band := all[i].band; all[i].banded {
				band.Ms = ms
				b.head.Records = append(b.head.Records, band)
			}
		}
	}
	b.w.Begin(b.head)
}

func phaseWord(p phase.Phase) string {
	if p == phase.Unknown {
		return ""
	}
	return p.String()
}

// ms of a time since boot.
func (b *logbook) ms(now time.Time) int64 { return b.baseMs + now.Sub(b.base).Milliseconds() }

// anchorAt reads the wall clock.
func (b *logbook) anchorAt(ms int64, now time.Time) {
	wall := b.wall(now)
	b.anchor = runlog.Anchor{Ms: ms, Wall: wall, Quality: runlog.Free}
	b.drift = wall.Sub(b.base.Round(0)) - time.Duration(ms-b.baseMs)*time.Millisecond
	switch {
	case b.sure():
		b.anchor.Quality = runlog.Synced
	case wall.Before(built()):
		b.anchor.Quality = runlog.Unset
	}
}

// update is the logbook's output.
func (b *logbook) update(f *frame) {
	ms, c := b.ms(f.now), b.core
	marks := c.runs.marks
	if n := slices.IndexFunc(marks, begins); n > 0 { // what ends before a run begins is of the file before
		b.mark(ms, marks[:n])
		marks = marks[n:]
	}
	b.files(f.now, marks)
	for _, r := range c.said {
		r.Ms = ms
		b.put(r)
		if r.Verb == "filled" || r.Verb == "weighed" {
			b.marks.told()
		}
	}
	for _, r := range c.noted {
		r.Ms = ms
		b.put(r)
	}
	if n := f.health.missed - b.missed; n > 0 {
		b.put(runlog.Gap{Ms: ms, What: "ticks missed", N: int64(n)})
		b.missed = f.health.missed
	}
	for _, r := range b.grain.bands {
		r.Ms = ms
		b.put(r)
	}
	b.w.Tick(ms, b.grain.cells)
	b.mark(ms, marks)
	c.forget()
	if f.phase != b.phase {
		b.phase = f.phase
		b.put(runlog.PhaseChange{Ms: ms, Phase: phaseWord(f.phase), Forced: c.finder.Forced()})
	}
	for i := range f.transitions {
		b.put(b.transition(ms, f, &f.transitions[i]))
	}
	if s := ms / 1000; s != b.second {
		b.second = s
		b.reckoned(ms, f)
		for _, n := range b.marks.step(f.now, c, f.phase) {
			n.Ms = ms
			b.put(n)
		}
		b.clock(ms, f.now)
	}
}

func (b *logbook) put(r runlog.Record) { b.ticket = b.w.Put(r) }

func begins(m runlog.RunMark) bool { return !m.Ends }

func (b *logbook) mark(ms int64, marks []runlog.RunMark) {
	for _, m := range marks {
		m.Ms = ms
		b.put(m)
		if b.hadRun, b.ended = true, 0; m.Ends {
			b.ended = ms
		}
	}
}

// files begins a new file where this tick belongs to one.
func (b *logbook) files(now time.Time, marks []runlog.RunMark) {
	ms := b.ms(now)
	begins := slices.ContainsFunc(marks, begins)
	since := b.begun
	if b.hadRun {
		since = b.ended
	}
	age := time.Duration(ms-since) * time.Millisecond
	idle := (!b.hadRun || b.ended != 0) && age >= idleFile
	if begins && (b.hadRun || age > leadIn) || idle && !begins {
		var s saved
		b.core.kept(&s)
		state, err := json.Marshal(s)
		if err != nil {
			b.log.Error("run log: the state is left out of the new file", "err", err)
		}
		b.open(now, string(state))
	}
}

// transition is a change of an alarm's state as it is stored.
func (b *logbook) transition(ms int64, f *frame, t *alarms.Transition) runlog.Transition {
	r := t.Rule
	s := runlog.Transition{Ms: ms, Alarm: r.Name, Channel: r.Channel, Priority: r.Priority.String(), From: t.From.String(), To: t.State.String(),
		Seq: t.Seq, Order: t.Order, Test: t.Test, Restored: t.Restored}
	if r.Kind.Limited() {
		limit := r.Limit
		s.Value, s.Limit, s.Unit = figure(t.Value), &limit, r.Unit(b.core.channels[b.core.at[r.Channel]].Quantity)
	}
	if t.State == alarms.Unacknowledged && !t.From.Standing() && r.Priority > alarms.Notice {
		s.FirstOut = true
		for i := range f.alarms {
			a := &f.alarms[i]
			if a.State.Standing() && a.Rule.Priority > alarms.Notice && a.Order < t.Order {
				s.FirstOut = false
			}
		}
	}
	return s
}

// reckoned stores a row of what the core reckons.
func (b *logbook) reckoned(ms int64, f *frame) {
	channels := b.head.Channels[len(b.grain.inputs):]
	for i, at := range b.places {
		r, ch, was := &f.readings[at], &channels[i], &b.bands[i]
		b.cells[i] = cellOf(ch, r)
		changed := r.AtLeast != was.band.AtLeast || r.Uncertainty > was.band.HalfWidth*1.5 || r.Uncertainty < was.band.HalfWidth/1.5
		if r.Status == sensors.Good && changed {
			was.band, was.banded = runlog.Band{Channel: ch.Name, HalfWidth: r.Uncertainty, AtLeast: r.AtLeast}, true
			band := was.band
			band.Ms = ms
			b.put(band)
		}
	}
	b.w.Second(ms, b.cells)
}

// clock notes what the wall clock says, and tells the core where it was set.
func (b *logbook) clock(ms int64, now time.Time) {
	was, drift := b.anchor, b.drift
	b.anchorAt(ms, now)
	if step := b.drift - b.core.moved; step.Abs() >= moveLeast {
		if d, err := deedOf(clockVerb, moveOrder{int64(step.Round(time.Second) / time.Second)}); err == nil { // always
			b.core.carryOut(now, "clock", d)
		}
	}
	if (b.drift-drift).Abs() < anchorDrift && b.anchor.Quality == was.Quality && ms-was.Ms < anchorEvery.Milliseconds() {
		b.anchor, b.drift = was, drift
		return
	}
	b.put(b.anchor)
	if b.anchor.Quality != was.Quality {
		b.sayClock()
	}
}

// sayClock says how sure the times are that a person will read.
func (b *logbook) sayClock() {
	wall := b.anchor.Wall.UTC().Format(time.DateTime)
	switch b.anchor.Quality {
	case runlog.Synced:
		b.log.Info("the board's clock is synchronised: this boot gets its true times", "clock", wall)
	case runlog.Unset:
		b.log.Warn("the board's clock is wrong: set it, or let the board reach the network; what was written before then gets its true times", "clock", wall)
	default:
		b.log.Info("the board's clock is not known to be right", "clock", wall)
	}
}

// clockVerb moves the wall clock of the core.
const clockVerb = "clock moved"

// clockSynced asks the kernel. Where the daemon is shut off from that, it is
// not known, and not said.
func clockSynced() bool {
	var t unix.Timex
	_, err := unix.Adjtimex(&t)
	return err == nil && t.Status&unix.STA_UNSYNC == 0
}
