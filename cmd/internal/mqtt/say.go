package mqtt

import (
	"bytes"
	"slices"
	"strconv"

	"charwarden/alarms"
	"charwarden/sensors"
)

// place sorts the newest Update's readings by channel. A channel that it left
// out is unknown.
func (p *Publisher) place() {
	for i := range p.latest {
		p.latest[i] = sensors.Reading{Channel: p.o.Channels[i].Name}
	}
	for i := range p.now.readings {
		r := &p.now.readings[i]
		if k, ok := p.channels[r.Channel]; ok {
			p.latest[k] = *r
		} else {
			p.unknown("channel", r.Channel)
		}
	}
}

// unknown logs once that the loop handed over what Opts do not know.
func (p *Publisher) unknown(kind, name string) {
	if !p.warned[kind+name] {
		p.warned[kind+name] = true
		p.o.Log.Error("mqtt: not published: unknown "+kind, kind, name)
	}
}

// Each say function reports whether there was room for all it had to say.

func (p *Publisher) sayStatus() bool {
	if !p.said.status {
		line := "watching since " + seconds(p.o.Start)
		p.said.status = p.out.send(p.o.Topics.Status(), true, []byte(line), func() { p.said.status = false })
	}
	return p.said.status
}

func (p *Publisher) sayAlarms() bool {
	for i := range p.now.alarms {
		a := &p.now.alarms[i]
		k, ok := p.rules[a.Rule.Name]
		if !ok {
			p.unknown("alarm", a.Rule.Name)
			continue
		}
		t := &p.said.alarms[k]
		if !t.due(a) {
			continue
		}
		if !p.out.send(p.o.Topics.Alarm(a.Rule.Name), true, p.alarmPayload(a), func() { t.known = false }) {
			return false
		}
		t.note(a)
	}
	return true
}

// sayTransitions empties the queue: a line for people, an object for programs.
func (p *Publisher) sayTransitions() bool {
	for p.out.room() >= 2*stormSize { // a line, an event, and what a storm that it ends has to say
		tr, ok := p.next()
		if !ok {
			return p.sayStorms()
		}
		if _, ok := p.rules[tr.Rule.Name]; !ok {
			p.unknown("alarm", tr.Rule.Name)
			continue
		}
		p.sayLine(&tr)
		lost := func() { p.dropped.Add(1) }
		if !p.out.send(p.o.Topics.Events(), false, p.eventPayload(&tr), lost) {
			lost()
		}
	}
	return false
}

// alarm returns the newest state of an alarm, nil if the loop did not give it.
func (p *Publisher) alarm(name string) *alarms.Alarm {
	i := slices.IndexFunc(p.now.alarms, func(a alarms.Alarm) bool { return a.Rule.Name == name })
	if i < 0 {
		return nil
	}
	return &p.now.alarms[i]
}

func (p *Publisher) saySummary() bool {
	s := summarise(p.now.alarms, p.now.phase)
	if p.said.summarised && s == p.said.summary {
		return true
	}
	p.said.summarised = p.out.send(p.o.Topics.Summary(), true, s.payload(p.o.Version),
		func() { p.said.summarised = false })
	p.said.summary = s
	return p.said.summarised
}

func (p *Publisher) sayAdvice() bool {
	p.mu.Lock()
	same := bytes.Equal(p.advice, p.said.advice)
	advice := p.said.advice
	if !same {
		advice = bytes.Clone(p.advice)
	}
	p.mu.Unlock()
	if same {
		return true
	}
	if !p.out.send(p.o.Topics.Diagnosis(), true, advice, func() { p.said.advice = nil }) {
		return false
	}
	p.said.advice = advice
	return true
}

func (p *Publisher) sayBeat() bool {
	if !p.said.beatDue(p.now.now) {
		return true
	}
	p.beats++
	line := "beat " + strconv.FormatUint(p.beats, 10) + " at " + seconds(p.now.now)
	if !p.out.toss(p.o.Topics.Heartbeat(), false, []byte(line)) {
		return false
	}
	p.said.beat = p.now.now
	p.published.Add(1)
	return true
}

func (p *Publisher) sayReadings() bool {
	for i := range p.latest {
		c, r, t := &p.o.Channels[i], &p.latest[i], &p.said.readings[i]
		if !t.due(p.now.now, r, c.Quantity, p.o.Refresh) {
			continue
		}
		if !p.out.toss(p.topics[i], true, p.readingPayload(c, r)) {
			return false
		}
		t.note(p.now.now, r)
		p.published.Add(1)
	}
	return true
}
