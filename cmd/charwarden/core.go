package main

import (
	"errors"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
	"charwarden/sensors/derive/phase"
)

// core is the part of the daemon that reckons: from the sensors' readings to
// derived ones, the phase of the rig and the alarms. It does no I/O and reads
// no clock; `run`, `demo` and `replay` drive the same one.
type core struct {
	cfg    *config.Config
	engine *alarms.Engine
	finder *phase.Finder
	shown  phase.Phase // inferred or forced

	channels []sensors.Channel // the sensors', then the derived ones
	readings []sensors.Reading // of the newest step, in that order
	at       map[string]int    // place of a channel in readings
	given    map[string]bool   // derived channels that come from outside (replay)
	order    []placed          // of put in the last tick
	turn     int               // of put in this one

	doses []dose
	process
	inputs phase.Inputs
	cares  []sensors.Care
	buf    []sensors.Reading
	made   []alarms.Transition // by requests, before the step
	trs    []alarms.Transition // of the newest step
	list   []alarms.Alarm

	tests   map[string]*bump
	cared   map[string]*cared
	steady  map[string]*steady
	dirty   bool                           // something was done that must be stored
	correct func(channel string, k *cared) // puts a calibration into force
	signals *signals                       // nil in `replay`

	base  time.Time     // when the core was made: what the wall clock said then
	moved time.Duration // how far it was set since
	runs  runs
	said  []runlog.Command // since the last step, for the run log
	noted []runlog.Note
}

// wall is what the wall clock says, so that a replay finds the same.
func (c *core) wall(now time.Time) time.Time {
	return c.base.Round(0).Add(now.Sub(c.base) + c.moved)
}

// dose is what one CO channel has done to the operator.
type dose struct {
	*exposure.Dose
	channel string
}

// instrument is what the daemon knows of itself; it becomes readings.
type instrument struct {
	busStall, brokerAway, tickLate, stateUnsaved, outputFault, logUnsaved time.Duration
}

// newCore makes a core whose life begins at base, which carries the monotonic
// clock where the times of its steps do.
func newCore(cfg *config.Config, base time.Time) (*core, error) {
	c := &core{cfg: cfg, base: base, at: make(map[string]int), given: make(map[string]bool),
		tests: make(map[string]*bump), cared: make(map[string]*cared), steady: make(map[string]*steady),
		correct: func(string, *cared) {}}
	c.channels = append(append(c.channels, cfg.Channels...), cfg.Derived...)
	c.readings = make([]sensors.Reading, len(c.channels))
	for i, ch := range c.channels {
		c.at[ch.Name] = i
		c.readings[i] = sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil)
		if i < len(cfg.Channels) && band[ch.Quantity].zero > 0 {
			c.steady[ch.Name] = new(steady)
		}
	}
	var err error
	if c.engine, err = alarms.New(cfg.Rules, c.channels); err != nil {
		return nil, err
	}
	if c.finder, err = phase.New(phase.Opts{}); err != nil {
		return nil, err
	}
	for _, co := range cfg.COs {
		if _, fitted := c.at[co.Channel]; !fitted {
			continue
		}
		c.doses = append(c.doses, dose{exposure.New(co.Channel, exposure.Opts{}), co.Channel})
		c.cares = append(c.cares,
			sensors.Care{Channel: co.Channel + "_zero_age", What: "zero in clean air", Done: co.ZeroDate},
			sensors.Care{Channel: co.Channel + "_bump_age", What: "bump test", Done: co.BumpDate})
	}
	if c.process, err = newProcess(cfg, c.reading); err != nil {
		return nil, err
	}
	r := cfg.Roles
	c.inputs = phase.Inputs{Speed: c.reading(r.Speed), GasOut: c.reading(r.GasOut), Suction: c.reading(r.Suction)}
	for _, w := range r.Walls {
		if x := c.reading(w); x != nil {
			c.inputs.Walls = append(c.inputs.Walls, x)
		}
	}
	return c, nil
}

// reading is where a channel's newest reading stands; nil if it is not fitted.
func (c *core) reading(channel string) *sensors.Reading {
	if i, ok := c.at[channel]; ok {
		return &c.readings[i]
	}
	return nil
}

// step takes the sensors' readings, in the order of the configuration, and
// returns what that changes; the slice is valid until the next step.
func (c *core) step(now time.Time, readings []sensors.Reading, self instrument) []alarms.Transition {
	copy(c.readings[:len(c.cfg.Channels)], readings)
	c.derive(now, self)
	c.shown = c.finder.Step(now, c.inputs)
	c.runs.step(c.phase())
	c.runTests(now)
	c.trs = append(c.trs[:0], c.made...)
	c.made = c.made[:0]
	c.trs = append(c.trs, c.engine.Step(now, c.readings, c.phase())...)
	return c.trs
}

// forget drops what was kept for the run log.
func (c *core) forget() {
	c.said, c.noted, c.runs.marks = c.said[:0], c.noted[:0], c.runs.marks[:0]
}

// phase is what alarms may be suppressed by; before anything is known of the
// rig it is none of the phases, so that nothing is.
func (c *core) phase() phase.Phase {
	if !c.finder.Known() && !c.finder.Forced() {
		return phase.Unknown
	}
	return c.shown
}

// derive reckons what no sensor shows.
func (c *core) derive(now time.Time, self instrument) {
	c.turn = 0
	for i := range c.doses {
		d := &c.doses[i]
		d.Step(now, c.reading(d.channel))
		c.buf = d.Readings(c.buf[:0])
		c.put(c.buf...)
	}
	for name, s := range c.steady {
		s.note(now, c.reading(name))
	}
	for i := range c.cares {
		k := &c.cares[i]
		if x := c.reading(k.Channel); k.Done.IsZero() && x != nil && x.Err != nil && !c.given[k.Channel] {
			x.At = now // still none recorded: to say it anew allocates
			continue
		}
		c.buf = k.Sense(c.wall(now), c.buf[:0])
		for i := range c.buf {
			c.buf[i].At = now
		}
		c.put(c.buf...)
	}
	c.process.step(now, c.phase(), c.put)
	c.put(age("bus_stall", now, self.busStall), age("broker_away", now, self.brokerAway), age("tick_late", now, self.tickLate),
		age("state_unsaved", now, self.stateUnsaved), age("output_fault", now, self.outputFault), age("log_unsaved", now, self.logUnsaved))
}

// put sets derived readings. One whose channel is not configured, or comes
// from outside, is left out.
func (c *core) put(rs ...sensors.Reading) {
	for _, r := range rs {
		if i := c.place(r.Channel); i >= 0 && !c.given[r.Channel] {
			c.readings[i] = r
		}
	}
}

// placed is where the reading went that was put at this turn of the last tick.
type placed struct {
	channel string
	at      int // -1: it is not configured
}

// place of a channel in readings. They are put in the same order in each tick,
// so that the last one mostly knows.
func (c *core) place(channel string) int {
	if c.turn < len(c.order) && c.order[c.turn].channel == channel {
		c.turn++
		return c.order[c.turn-1].at
	}
	i, ok := c.at[channel]
	if !ok {
		i = -1
	}
	c.order = append(c.order[:c.turn], placed{channel, i})
	c.turn++
	return i
}

func age(channel string, now time.Time, d time.Duration) sensors.Reading {
	s := d.Seconds()
	return sensors.Reading{Channel: channel, At: now, Value: s, Raw: s, Status: sensors.Good}
}

// dosesOf are the channels that are derived from a CO channel.
func dosesOf(co string) map[string]bool {
	names := make(map[string]bool)
	for _, ch := range exposure.Channels(co) {
		names[ch.Name] = true
	}
	return names
}

// kept is what must outlive the process, but for what the sweep keeps.
func (c *core) kept(s *saved) {
	s.Cared = make(map[string]cared, len(c.cared))
	for name, k := range c.cared {
		s.Cared[name] = *k
	}
	if c.signals != nil {
		s.Permit = c.signals.permit.Keep()
	}
	s.Process = c.process.keep()
	s.Alarms = c.engine.Keep(nil)                          // the writer has the one before
	s.Doses = make(map[string]exposure.Kept, len(c.doses)) // the writer has the one before
	for _, d := range c.doses {
		s.Doses[d.channel] = d.Keep()
	}
}

// restore sets what was kept. It returns what stands again and what could not
// be restored.
func (c *core) restore(now time.Time, s saved) (stands []alarms.Transition, errs []error) {
	c.process.restore(s.Process, now)
	stands, errs = c.engine.Restore(s.Alarms)
	for i := range stands {
		stands[i].At = now
	}
	for name, k := range s.Cared {
		if _, fitted := c.at[name]; fitted {
			c.cared[name] = &k
			c.correct(name, &k)
			c.date(name, &k)
		}
	}
	for _, d := range c.doses {
		if k, ok := s.Doses[d.channel]; ok {
			d.Restore(k, now)
		}
	}
	return stands, errs
}

// date tells the ages of a channel what was done to it.
func (c *core) date(channel string, k *cared) {
	for i := range c.cares {
		switch x := &c.cares[i]; x.Channel {
		case channel + "_zero_age":
			x.Done = newer(x.Done, k.ZeroAt)
		case channel + "_bump_age":
			x.Done = newer(x.Done, k.BumpAt)
		}
	}
}

// silence puts the horn off for 2 minutes.
func (c *core) silence(now time.Time, person string) bool {
	return c.signals != nil && c.signals.siren.Silence(now, person)
}

var errNoPermit = errors.New("no run permit is configured")

// resetPermit gives the run permit back; it restarts nothing.
func (c *core) resetPermit(now time.Time) error {
	if c.signals == nil || !c.signals.fitted {
		return errNoPermit
	}
	c.dirty = true
	return c.signals.permit.Reset(now)
}

func (c *core) permitState() (held bool, why string, fitted bool) {
	if c.signals == nil || !c.signals.fitted {
		return false, "", false
	}
	held, why = c.signals.permit.Held()
	return held, why, true
}
