package mqtt

import (
	"fmt"
	"math"
	"strings"
	"time"

	"charwarden/alarms"
)

// freshFor is how long a line may wait for the broker. After that it is sent
// only if it is still true: who reads plain text takes it for now.
const freshFor = 10 * time.Second

// late reports whether tr waited too long and has been overtaken since.
func late(now time.Time, tr *alarms.Transition, is *alarms.Alarm) bool {
	return now.Sub(tr.At) > freshFor && (is == nil || is.State != tr.State || is.Seq != tr.Seq)
}

// line tells a person about tr; "" where there is nothing to tell (an
// acknowledgement is seen in the alarm's state). A line that asks for an
// acknowledgement ends with exactly what must be sent back.
//
//	ALARM wall_near_stop: wall_near 655.25 degC, limit 650 degC. Too hot. First: stop. To acknowledge send to charwarden/pump/do/YOU/ack: wall_near_stop 3
//	wall_near_stop: the condition is gone, not acknowledged: wall_near 480 degC. To acknowledge send to …: wall_near_stop 3
//	wall_near_stop: back to normal: wall_near 480 degC.
func (p *Publisher) line(tr *alarms.Transition) string {
	name, what := tr.Rule.Name, p.what(&tr.Alarm)
	if tr.Test {
		name = "TEST, no real gas: " + name
	}
	gone := tr.From == alarms.Unacknowledged || tr.From == alarms.Acknowledged
	switch {
	case tr.Restored && tr.State != alarms.Unacknowledged && tr.State != alarms.Latched:
		return ""
	case tr.State == alarms.Latched && tr.Annunciates():
		return fmt.Sprintf("%s: came while it could not call, and is kept until a reset at the rig: %s.%s", name, what, p.sendBack(tr))
	case tr.State == alarms.Unacknowledged:
		s := fmt.Sprintf("%s %s: %s.", strings.ToUpper(tr.Rule.Priority.String()), name, what)
		s += sentence("", tr.Rule.Means) + sentence("First: ", tr.Rule.DoFirst)
		return s + p.sendBack(tr)
	case tr.State == alarms.Normal && tr.From == alarms.Suppressed, tr.State == alarms.Suppressed:
		return ""
	case tr.State == alarms.Shelved:
		return fmt.Sprintf("%s: shelved at the rig for %v.", name, tr.Left)
	case tr.State == alarms.OutOfService:
		return fmt.Sprintf("%s: taken out of service at the rig: %s.", name, tr.Reason)
	case tr.State == alarms.Normal:
		return fmt.Sprintf("%s: back to normal: %s.", name, what)
	case gone && tr.State == alarms.Returned:
		return fmt.Sprintf("%s: the condition is gone, not acknowledged: %s.%s", name, what, p.sendBack(tr))
	case gone && tr.State == alarms.Latched:
		return fmt.Sprintf("%s: the condition is gone, kept until a reset at the rig: %s.%s", name, what, p.sendBack(tr))
	case gone && tr.State == alarms.LatchedAcknowledged:
		return fmt.Sprintf("%s: the condition is gone, kept until a reset at the rig: %s.", name, what)
	}
	return ""
}

func (p *Publisher) sendBack(tr *alarms.Transition) string {
	return fmt.Sprintf(" To acknowledge send to %s: %s %d",
		p.o.Topics.Command("YOU", "ack"), tr.Rule.Name, tr.Seq)
}

// what the alarm's channel shows, in words.
func (p *Publisher) what(a *alarms.Alarm) string {
	r := a.Rule
	status := p.latest[p.channels[r.Channel]].Status
	if r.Kind.Limited() {
		value, limit, unit := p.figures(a)
		if math.IsNaN(a.Value) || math.IsInf(a.Value, 0) {
			return fmt.Sprintf("%s gives no value (%s), limit %v %s", r.Channel, status, limit, *unit)
		}
		return fmt.Sprintf("%s %v %s, limit %v %s", r.Words(), value, *unit, limit, *unit)
	}
	if r.Kind == alarms.Zeroing {
		return fmt.Sprintf("zero of %s (%s)", r.Channel, status)
	}
	if a.State == alarms.Unacknowledged {
		return fmt.Sprintf("%s gives no value (%s)", r.Channel, status)
	}
	return fmt.Sprintf("%s is %s", r.Channel, status)
}

// sentence joins s to a line: one line, with a full stop.
func sentence(lead, s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if s == "" {
		return ""
	}
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return " " + lead + s
}
