package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// rerun drives the core through a session of the run log again, tick by tick,
// from the state with which that life of the daemon began.
type rerun struct {
	*core
	baseMs   int64
	last     int64             // ms of the newest row that was played
	readings []sensors.Reading // of the sensors, as the core gets them
	self     instrument
	bands    map[string]runlog.Band
	exact    error // why it is not the same again; nil: it is
}

// newRerun begins where a file begins. Rules and roles are those of cfg, nil for
// the file's own.
func newRerun(f *runlog.File, cfg *config.Config) (*rerun, error) {
	m := f.Meta()
	snapshots, err := f.Snapshots()
	if err != nil {
		return nil, err
	}
	text := make(map[string]string)
	for _, s := range snapshots {
		text[s.What] = s.Text
	}
	if cfg == nil {
		if cfg, err = config.Parse(fmt.Sprintf("configuration of run %d", m.Number), []byte(text["configuration"])); err != nil {
			return nil, err
		}
	}
	var was saved
	if err := json.Unmarshal([]byte(text["state"]), &was); err != nil {
		return nil, fmt.Errorf("state at the begin of run %d: %w", m.Number, err)
	}
	anchors, err := f.Anchors()
	if err != nil {
		return nil, err
	}
	if len(anchors) == 0 {
		return nil, fmt.Errorf("run %d: no anchor: the file does not say what the clock said", m.Number)
	}
	named := make(map[string]bool)
	for _, ch := range slices.Concat(f.Inputs(), f.Reckoned()) {
		named[ch.Name] = true
	}
	base := anchors[0].Wall.Add(-time.Duration(anchors[0].Ms-m.Ms) * time.Millisecond)
	r := &rerun{baseMs: m.Ms, bands: make(map[string]runlog.Band)}
	if r.core, err = newCore(fitted(cfg, named), base); err != nil {
		return nil, err
	}
	for _, ch := range r.cfg.Channels {
		r.readings = append(r.readings, sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil))
	}
	stands, errs := r.restore(base, was)
	r.made = append(r.made, stands...)
	if m.Part > 1 {
		r.exact = fmt.Errorf("the log of this daemon's life before run %d is gone: delays and windows begin anew with its file", m.Number)
	}
	return r, errors.Join(errs...)
}

// input is where a cell of a row goes.
type input struct {
	channel runlog.Channel
	at      int            // in readings; -1: it is not fitted now
	part    *time.Duration // of the instrument; nil: it is a sensor's
}

// play goes through a file and hands over what each tick changed.
func (r *rerun) play(ctx context.Context, f *runlog.File, look func(ms int64, trs []alarms.Transition)) error {
	commands, err := f.Commands()
	if err != nil {
		return err
	}
	bands, err := f.Bands()
	if err != nil {
		return err
	}
	gaps, err := f.Gaps()
	if err != nil {
		return err
	}
	for _, g := range gaps {
		if g.What != "ticks missed" && r.exact == nil {
			r.exact = fmt.Errorf("run %d: %d %s", f.Meta().Number, g.N, g.What)
		}
	}
	if f.Meta().Torn && r.exact == nil {
		r.exact = fmt.Errorf("file %d was begun in the middle, after a fault of the disk", f.Meta().Number)
	}
	inputs := r.inputsOf(f)
	for row, err := range f.Ticks(ctx, 0, 0) {
		if err != nil {
			return err
		}
		if row.Ms <= r.last { // a file begun after a fault may repeat the end of the one before
			continue
		}
		r.last = row.Ms
		now := r.base.Add(time.Duration(row.Ms-r.baseMs) * time.Millisecond)
		for len(bands) > 0 && bands[0].Ms <= row.Ms {
			r.bands[bands[0].Channel] = bands[0]
			bands = bands[1:]
		}
		for i, c := range row.Cells {
			r.set(&inputs[i], c, now)
		}
		for len(commands) > 0 && commands[0].Ms <= row.Ms {
			if err := r.again(now, &commands[0]); err != nil && r.exact == nil {
				r.exact = err
			}
			commands = commands[1:]
		}
		trs := r.step(now, r.readings, r.self)
		r.forget()
		look(row.Ms, trs)
	}
	return ctx.Err()
}

func (r *rerun) inputsOf(f *runlog.File) []input {
	parts := r.self.parts()
	var list []input
	for _, ch := range f.Inputs() {
		in := input{channel: ch, at: slices.IndexFunc(r.cfg.Channels, func(c sensors.Channel) bool { return c.Name == ch.Name })}
		if i := slices.Index(selfChannels[:], ch.Name); i >= 0 {
			in.part = parts[i]
		}
		list = append(list, in)
	}
	return list
}

func (r *rerun) set(in *input, c runlog.Cell, now time.Time) {
	switch {
	case c.Status == sensors.Unknown: // nothing new
	case in.part != nil:
		*in.part = seconds(in.channel.Value(c.Count))
	case in.at >= 0:
		r.readings[in.at] = readingOf(&in.channel, c, r.bands[in.channel.Name], now)
	}
}

// again does what a person had the loop do. What was refused did nothing.
func (r *rerun) again(now time.Time, c *runlog.Command) error {
	if c.Err != "" {
		return nil
	}
	read, known := verbs[c.Verb]
	if !known {
		return fmt.Errorf("command %q: this version does not know it", c.Verb)
	}
	d, err := read([]byte(c.Body))
	if err != nil {
		return fmt.Errorf("command %q: %w", c.Verb, err)
	}
	if _, err = r.carryOut(now, c.Person, d); err != nil && !outward[c.Verb] {
		return fmt.Errorf("command %q of %s: then it was done, now: %w", c.Verb, c.Person, err)
	}
	return nil
}

// outward are the verbs that do something to the rig and nothing to the core,
// and so nothing in a replay.
var outward = map[string]bool{"silence": true, "sound": true, "reset permit": true, "runs start": true, "runs stop": true}

// rerunChange is one change of `replay RUN`.
type rerunChange struct {
	change
	Logged   bool `json:"logged"`   // it is in the log
	Replayed bool `json:"replayed"` // it comes again
	ms       int64
	seq      uint64
}

// compare joins what the log has with what came again.
func compare(logged, again []rerunChange) []rerunChange {
	type key struct {
		ms              int64
		alarm, from, to string
		seq             uint64
		value           float64
	}
	keyOf := func(c *rerunChange) key {
		k := key{c.ms, c.Alarm, c.From, c.To, c.seq, 0}
		if c.Value != nil {
			k.value = *c.Value
		}
		return k
	}
	have := make(map[key]int)
	for i := range logged {
		have[keyOf(&logged[i])]++
	}
	all := slices.Clone(logged)
	for i := range all {
		all[i].Logged = true
	}
	place := make(map[key][]int)
	for i := range all {
		k := keyOf(&all[i])
		place[k] = append(place[k], i)
	}
	for _, c := range again {
		k := keyOf(&c)
		c.Replayed = true
		if have[k] > 0 {
			at := place[k][len(place[k])-have[k]]
			have[k]--
			all[at].Replayed = true
			continue
		}
		all = append(all, c)
	}
	slices.SortStableFunc(all, func(a, b rerunChange) int { return cmp.Compare(a.ms, b.ms) })
	return all
}
