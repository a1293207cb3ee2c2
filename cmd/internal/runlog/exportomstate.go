package runlog

import (
	"cmp"
	"path/filepath"
	"slices"
	"strconv"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// omPart makes samples of one part.
type omPart struct {
	m      *omWriter
	p      *part
	labels []omLabel // of every series

	now, before omTime // of the row under way and of the one before; at 0: none
	event       omTime
	everyMs     int64
	again       int64 // ms from which on what stands is told again
	look        int64 // ms from which on values that stand are looked for again

	inputs, reckoned []omChannel
	alarms           []omAlarm
	priorities       []*omSeries // by Priority
	phases           []*omSeries // by Phase
	phase            string
	missed           *omSeries

	events []omEvent // by time, still to come
}

// omEvent is a change at a moment; alarm -1: not of an alarm.
type omEvent struct {
	ms     int64
	alarm  int
	to     alarms.State
	phase  *string
	missed int64
}

type omChannel struct {
	name      string
	value, up *omSeries
	values    decimals
	status    sensors.Status // of the newest reading
	count     int64          // of it, if good
	told      int64          // ms of the newest sample
	faults    map[sensors.Status]*omSeries
}

type omAlarm struct {
	priority alarms.Priority
	state    alarms.State
	known    bool
	series   map[alarms.State]*omSeries // of those that it is ever in
}

func newOMPart(m *omWriter, p *part, o *ExportOpts) (*omPart, error) {
	e := &omPart{m: m, p: p, everyMs: max(standingMs, o.Every.Milliseconds()), again: p.from}
	if o.Rig != "" {
		e.labels = append(e.labels, omLabel{"rig", o.Rig})
	}
	if o.RunLabel {
		e.labels = append(e.labels, omLabel{"run", strconv.Itoa(p.file.meta.Number)})
	}
	for _, c := range p.inputs {
		e.inputs = append(e.inputs, e.channel(c))
	}
	for _, c := range p.reckoned {
		e.reckoned = append(e.reckoned, e.channel(c))
	}
	for ph := phase.Cold; ph <= phase.Sealed; ph++ {
		e.phases = append(e.phases, e.series(names.Phase, omLabel{names.LabelPhase, ph.String()}))
	}
	for pr := alarms.Notice; pr <= alarms.Evacuate; pr++ {
		e.priorities = append(e.priorities, e.series(names.AlarmStanding, omLabel{names.LabelPriority, pr.String()}))
	}
	e.missed = e.series(names.TicksMissed)
	if err := e.readEvents(); err != nil {
		return nil, err
	}
	for len(e.events) > 0 && e.events[0].ms < p.from {
		e.apply(e.events[0])
		e.events = e.events[1:]
	}
	return e, nil
}

func (e *omPart) series(family string, labels ...omLabel) *omSeries {
	return e.m.of(family, slices.Concat(labels, e.labels)...)
}

func (e *omPart) channel(c Channel) omChannel {
	label := omLabel{names.LabelChannel, c.Name}
	return omChannel{name: c.Name, value: e.series(names.Quantity(c.Quantity), label), up: e.series(names.ChannelUp, label),
		values: newDecimals(c.Step), faults: map[sensors.Status]*omSeries{}}
}

// readEvents reads what changes at moments of the part, and what was in force
// when it began.
func (e *omPart) readEvents() error {
	f := e.p.file
	own, err := f.Transitions()
	if err != nil {
		return err
	}
	phases, err := f.Phases()
	if err != nil {
		return err
	}
	gaps, err := f.Gaps()
	if err != nil {
		return err
	}
	index := map[string]int{}
	alarm := func(t Transition, state string) *omAlarm {
		i, ok := index[t.Alarm]
		if !ok {
			i = len(e.alarms)
			index[t.Alarm] = i
			a := omAlarm{series: map[alarms.State]*omSeries{}}
			a.priority, _ = alarms.ParsePriority(t.Priority) // of a damaged one: a notice
			e.alarms = append(e.alarms, a)
		}
		a := &e.alarms[i]
		if s, err := alarms.ParseState(state); err == nil && a.series[s] == nil {
			a.series[s] = e.series(names.AlarmState, omLabel{names.LabelAlarm, t.Alarm}, omLabel{names.LabelPriority, a.priority.String()},
				omLabel{names.LabelState, s.String()})
		}
		return a
	}
	begin := func(a *omAlarm, state string) {
		if s, err := alarms.ParseState(state); err == nil && !a.known {
			a.state, a.known = s, true
		}
	}
	for _, t := range slices.Backward(transitionsBefore(f)) {
		begin(alarm(t, t.To), t.To)
	}
	for _, t := range own {
		begin(alarm(t, t.From), t.From)
		alarm(t, t.To)
		if to, err := alarms.ParseState(t.To); err == nil {
			e.events = append(e.events, omEvent{ms: t.Ms, alarm: index[t.Alarm], to: to})
		}
	}
	for i := range phases {
		e.events = append(e.events, omEvent{ms: phases[i].Ms, alarm: -1, phase: &phases[i].Phase})
	}
	for _, g := range gaps {
		if g.What == "ticks missed" {
			e.events = append(e.events, omEvent{ms: g.Ms, alarm: -1, missed: g.N})
		}
	}
	slices.SortStableFunc(e.events, func(a, b omEvent) int { return cmp.Compare(a.ms, b.ms) })
	return nil
}

// transitionsBefore are those of the earlier parts of the file's session, as
// far as they are there: an alarm that stood when the file began stands.
func transitionsBefore(f *File) (all []Transition) {
	if f.meta.Part <= 1 || f.meta.Number == 0 {
		return nil
	}
	files, err := numberedFiles(filepath.Dir(f.path))
	if err != nil {
		return nil
	}
	var parts [][]Transition
	for _, n := range slices.Backward(files) {
		if n.number >= f.meta.Number {
			continue
		}
		o, err := open(n.path)
		if err != nil {
			continue // those before it may be sound
		}
		same := o.meta.Session == f.meta.Session
		if same {
			if t, err := o.Transitions(); err == nil {
				parts = append(parts, t)
			}
		}
		o.conn.Close()
		if !same || o.meta.Part == 1 {
			break
		}
	}
	slices.Reverse(parts)
	return slices.Concat(parts...)
}

// apply takes an event into account.
func (e *omPart) apply(v omEvent) {
	switch {
	case v.alarm >= 0:
		e.alarms[v.alarm].state = v.to
	case v.phase != nil:
		e.phase = *v.phase
	default:
		e.missed.total += v.missed
	}
}

// eventsTo tells of the events up to a moment, each at its own.
func (e *omPart) eventsTo(ms int64) {
	for len(e.events) > 0 && e.events[0].ms <= ms {
		at := e.events[0].ms
		e.event.set(e.p.wall(at).UnixMilli())
		n := 0
		for ; n < len(e.events) && e.events[n].ms == at; n++ {
			e.apply(e.events[n])
		}
		for _, v := range e.events[:n] { // what holds after the last of them
			switch {
			case v.alarm >= 0:
				e.alarms[v.alarm].tell(&e.event)
				e.tellStanding(&e.event)
			case v.phase != nil:
				e.tellPhase(&e.event)
			default:
				e.missed.whole(&e.event, e.missed.total)
			}
		}
		e.events = e.events[n:]
	}
}

func (a *omAlarm) tell(t *omTime) {
	for state, s := range a.series {
		s.bool(t, state == a.state)
	}
}

func (e *omPart) tellStanding(t *omTime) {
	var n [alarms.Evacuate + 1]int64
	for i := range e.alarms {
		if a := &e.alarms[i]; a.state.Standing() {
			n[a.priority]++
		}
	}
	for pr, s := range e.priorities {
		s.whole(t, n[pr])
	}
}

func (e *omPart) tellPhase(t *omTime) {
	for ph, s := range e.phases {
		s.bool(t, phase.Phase(ph).String() == e.phase)
	}
}

// row makes the samples of a row.
func (e *omPart) row(ms int64, in, out []Cell) {
	e.eventsTo(ms)
	e.before, e.now = e.now, e.before
	e.now.set(e.p.wall(ms).UnixMilli())
	for i := range in {
		if in[i].Status != sensors.Unknown {
			e.cell(&e.inputs[i], &in[i], ms)
		}
	}
	for i := range out {
		e.cell(&e.reckoned[i], &out[i], ms) // nothing is no value
	}
	if ms >= e.look {
		e.look = ms + lookMs
		e.values(ms)
	}
	if ms < e.again {
		return
	}
	e.again = ms + e.everyMs
	for _, channels := range [2][]omChannel{e.inputs, e.reckoned} {
		for i := range channels {
			channels[i].stand(&e.now)
		}
	}
	for i := range e.alarms {
		e.alarms[i].tell(&e.now)
	}
	e.tellStanding(&e.now)
	e.tellPhase(&e.now)
	e.missed.whole(&e.now, e.missed.total)
}

// cell makes the samples of a reading.
func (e *omPart) cell(c *omChannel, x *Cell, ms int64) {
	if x.Status == sensors.Good {
		c.value.count(&e.now, &c.values, x.Count)
		c.count, c.told = x.Count, ms
	}
	if x.Status == c.status {
		return
	}
	if x.Status > sensors.Good {
		f := c.faults[x.Status]
		if f == nil {
			f = e.series(names.ChannelFaults, omLabel{names.LabelChannel, c.name}, omLabel{names.LabelFault, x.Status.String()})
			c.faults[x.Status] = f
			if f.lines == 0 && len(e.before.tail) > 0 {
				f.whole(&e.before, 0) // of a counter that begins at 1, increase() misses the first fault
			}
		}
		f.total++
		f.whole(&e.now, f.total)
	}
	if (x.Status == sensors.Good) != (c.status == sensors.Good) {
		c.up.bool(&e.now, x.Status == sensors.Good)
	}
	c.status = x.Status
}

// lookMs is how often values that stand are looked for.
const lookMs = 1000

// values tells again the good values of inputs that have stood for long. What is
// reckoned is told anew each second, or is not known.
func (e *omPart) values(ms int64) {
	for i := range e.inputs {
		if c := &e.inputs[i]; c.status == sensors.Good && ms-c.told >= e.everyMs-lookMs {
			c.value.count(&e.now, &c.values, c.count)
			c.told = ms
		}
	}
}

// stand tells again whether the channel is up, and its faults so far.
func (c *omChannel) stand(t *omTime) {
	c.up.bool(t, c.status == sensors.Good)
	for _, f := range c.faults {
		f.whole(t, f.total)
	}
}
