package mqtt

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
)

const (
	// stormWait is how long the line of a fault may wait for others of its cause.
	stormWait = 3 * time.Second
	// stormSize is how many of one cause are told in one line.
	stormSize = 3
)

// storm is what one cause took down within stormWait: a bus that hangs is one
// thing to tell, not one for each of its channels. It holds each alarm once.
type storm struct {
	cause  string
	faults []fault // never empty, in the order in which they came
}

// fault is one that came, with its own line as of then.
type fault struct {
	alarms.Transition
	line string
}

// waits reports whether the fault's line may wait. That the air is not watched
// is told at once.
func (f *fault) waits() bool { return f.Rule.Priority < alarms.High }

// over reports whether nobody joins s any more. A clock that went back ends it.
func (s *storm) over(now time.Time) bool {
	age := now.Sub(s.faults[0].At)
	return age < 0 || age >= stormWait
}

func (s *storm) has(alarm string) bool {
	return slices.ContainsFunc(s.faults, func(f fault) bool { return f.Rule.Name == alarm })
}

// sayLine tells people of tr, or lets it wait in a storm. What comes after a
// storm, or changes what is in it, comes behind the storm's own lines.
func (p *Publisher) sayLine(tr *alarms.Transition) {
	p.endStorms(func(s *storm) bool {
		return s.has(tr.Rule.Name) || s.cause == tr.Rule.Cause && s.over(tr.At)
	})
	f := fault{*tr, p.line(tr)}
	switch {
	case f.line == "" || late(p.now.now, tr, p.alarm(tr.Rule.Name)):
		return
	case tr.Rule.Kind != alarms.Fault || tr.Rule.Cause == "" || tr.State != alarms.Unacknowledged || tr.Test:
		p.tell(f.line)
		return
	}
	i := slices.IndexFunc(p.storms, func(s storm) bool { return s.cause == tr.Rule.Cause })
	if i < 0 {
		i = len(p.storms)
		p.storms = append(p.storms, storm{cause: tr.Rule.Cause})
	}
	p.storms[i].faults = append(p.storms[i].faults, f)
	if !f.waits() {
		p.tell(f.line)
	}
}

// sayStorms tells what has waited for long enough.
func (p *Publisher) sayStorms() bool {
	for p.out.room() >= stormSize {
		i := slices.IndexFunc(p.storms, func(s storm) bool { return s.over(p.now.now) })
		if i < 0 {
			return true
		}
		p.endStorm(i)
	}
	return len(p.storms) == 0
}

func (p *Publisher) endStorms(which func(*storm) bool) {
	for i := len(p.storms) - 1; i >= 0; i-- {
		if which(&p.storms[i]) {
			p.endStorm(i)
		}
	}
}

// endStorm tells storm i: in one line, or in fewer than stormSize single ones.
func (p *Publisher) endStorm(i int) {
	s := p.storms[i]
	p.storms = slices.Delete(p.storms, i, i+1)
	s.faults = slices.DeleteFunc(s.faults, func(f fault) bool {
		return late(p.now.now, &f.Transition, p.alarm(f.Rule.Name))
	})
	waiting := slices.DeleteFunc(slices.Clone(s.faults), func(f fault) bool { return !f.waits() })
	if len(waiting) > 0 && len(s.faults) >= stormSize {
		p.tell(p.stormLine(&s))
		return
	}
	for _, f := range waiting {
		p.tell(f.line)
	}
}

// stormLine stands for the lines that waited, in the highest of their
// priorities.
//
//	CAUTION: the I2C bus /dev/i2c-1 took 3 channels down together: co, suction, supply. Nobody is watching them. First: … To acknowledge each send to charwarden/pump/do/YOU/ack its name and number: co_fault 1; suction_fault 1; supply_fault 2
func (p *Publisher) stormLine(s *storm) string {
	var worst alarms.Priority
	var channels, back []string
	for _, f := range s.faults {
		if f.waits() {
			worst = max(worst, f.Rule.Priority)
		}
		channels = append(channels, f.Rule.Channel)
		back = append(back, fmt.Sprint(f.Rule.Name, " ", f.Seq))
	}
	return fmt.Sprintf("%s: %s took %d channels down together: %s. Nobody is watching them. First: Look at the plug and the power of %s, and shut the rig down in the usual order if they do not come back. To acknowledge each send to %s its name and number: %s",
		strings.ToUpper(worst.String()), s.cause, len(channels), strings.Join(channels, ", "), s.cause,
		p.o.Topics.Command("YOU", "ack"), strings.Join(back, "; "))
}

// tell sends people a line.
func (p *Publisher) tell(line string) {
	lost := func() { p.dropped.Add(1) }
	if !p.out.send(p.o.Topics.Notify(), false, []byte(line), lost) {
		lost()
	}
}
