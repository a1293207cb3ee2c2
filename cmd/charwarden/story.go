package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/diagnosis"
)

// story prints what a demo run shows, line by line, and remembers what its
// summary needs. update belongs to the loop, say to anyone.
type story struct {
	w     io.Writer
	cfg   *config.Config
	start time.Time
	clock sensors.Clock

	mu sync.Mutex // guards w

	// Owned by the loop.
	nextLook time.Time
	peaks    map[string]peak
	raised   []episode
	health   health

	causes    func([]diagnosis.Finding) []diagnosis.Finding
	nextCause time.Time
	told      string // the cause that was told last
}

type peak struct {
	value float64
	at    time.Time
}

// episode is one time that an alarm stood.
type episode struct {
	rule     *alarms.Rule
	from, to time.Time // to is zero while it stands
}

// lookEvery is how often the readings are shown, in the rig's time.
const (
	lookEvery = 5 * time.Minute
	firstLook = 5 * time.Second // when every chip has had time to answer
)

func (s *story) stamp(at time.Time) string {
	d := at.Sub(s.start)
	return fmt.Sprintf("%3d:%02d", int(d.Minutes()), int(d.Seconds())%60)
}

func (s *story) say(who, text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	head := fmt.Sprintf("%s  %-8s ", s.stamp(s.clock.Now()), who)
	fmt.Fprintln(s.w, wrap(head, text, 100))
}

// wrap breaks text behind head so that lines are at most width long; later
// lines are indented as far as the head is wide.
func wrap(head, text string, width int) string {
	var b strings.Builder
	b.WriteString(head)
	at := len(head)
	for i, word := range strings.Fields(text) {
		switch n := utf8.RuneCountInString(word); {
		case i == 0:
			at += n
		case at+1+n > width:
			b.WriteString("\n" + strings.Repeat(" ", len(head)))
			at = len(head) + n
		default:
			b.WriteByte(' ')
			at += 1 + n
		}
		b.WriteString(word)
	}
	return b.String()
}

// update is the story's output.
func (s *story) update(f *frame) {
	for i := range f.transitions {
		s.transition(&f.transitions[i])
	}
	if s.peaks == nil {
		s.peaks = make(map[string]peak)
	}
	for _, r := range f.readings {
		if p, seen := s.peaks[r.Channel]; r.Status == sensors.Good && (!seen || r.Value > p.value) {
			s.peaks[r.Channel] = peak{r.Value, r.At}
		}
	}
	s.health = f.health
	if f.now.Sub(s.start) >= firstLook && f.now.After(s.nextLook) {
		s.nextLook = f.now.Add(lookEvery)
		s.say("seen", s.look(f.readings))
		if text := s.reckoned(f.readings); text != "" {
			s.say("reckoned", text)
		}
	}
	s.suspect(f)
}

// suspectEvery is how often the likely causes are looked at, in the rig's time.
const suspectEvery = 10 * time.Second

// suspect tells a new likely cause of what is out of the ordinary.
func (s *story) suspect(f *frame) {
	if s.causes == nil || f.now.Before(s.nextCause) {
		return
	}
	s.nextCause = f.now.Add(suspectEvery)
	top := ""
	for _, c := range s.causes(nil) {
		if c.Word() >= diagnosis.Likely && !c.Cause.Normal() {
			top = c.Cause.String()
			if top == s.told {
				break
			}
			text := strings.ReplaceAll(c.Word().String(), "_", " ") + ": " + c.Cause.Title()
			if len(c.For) > 0 {
				text += ", because " + c.For[0].String()
			}
			s.say("why", text)
			break
		}
	}
	s.told = top
}

func (s *story) transition(t *alarms.Transition) {
	switch {
	case t.State == alarms.Unacknowledged:
		s.raised = append(s.raised, episode{rule: t.Rule, from: t.At})
		s.say(strings.ToUpper(t.Rule.Priority.String()), t.Rule.Name+s.valueOf(t))
	case t.State != alarms.Acknowledged && (t.From == alarms.Unacknowledged || t.From == alarms.Acknowledged):
		for i := len(s.raised) - 1; i >= 0; i-- {
			if e := &s.raised[i]; e.rule == t.Rule && e.to.IsZero() {
				e.to = t.At
				break
			}
		}
		s.say("alarm", fmt.Sprintf("%s: condition gone, %s", t.Rule.Name, t.State))
	}
}

func (s *story) valueOf(t *alarms.Transition) string {
	if !t.Rule.Kind.Limited() || math.IsNaN(t.Value) {
		return ""
	}
	q := s.quantity(t.Rule.Channel)
	if t.Rule.Kind != alarms.Above && t.Rule.Kind != alarms.Below && t.Rule.Kind != alarms.Projected {
		unit := t.Rule.Unit(q) // a difference, which Display would take for a level
		return fmt.Sprintf(" %s %.3g %s, limit %g %s", t.Rule.Words(), t.Value, unit, t.Rule.Limit, unit)
	}
	return fmt.Sprintf(" %s, limit %s", s.cfg.Display.Format(q, t.Value), s.cfg.Display.Format(q, t.Rule.Limit))
}

func (s *story) quantity(channel string) sensors.Quantity {
	for _, c := range s.channels() {
		if c.Name == channel {
			return c.Quantity
		}
	}
	return 0
}

// channels are those of a frame's readings, in order.
func (s *story) channels() []sensors.Channel {
	return append(slices.Clip(s.cfg.Channels), s.cfg.Derived...)
}

// looked are the channels of a line of readings, by place.
var looked = []struct {
	place    string
	channels []string
}{
	{"walls", []string{"wall_near", "wall_far"}},
	{"gas", []string{"gas_out"}},
	{"filter", []string{"filter_in", "filter_out", "filter_drop"}},
	{"return", []string{"return_line"}},
	{"suction", []string{"suction"}},
	{"CO", []string{"co"}},
	{"engine", []string{"speed"}},
}

// inferred are the channels of a line of what is reckoned, by place.
var inferred = []struct {
	place    string
	channels []string
}{
	{"gas", []string{"gas_flow", "gas_heat"}},
	{"charcoal", []string{"charcoal_flow", "charcoal_left", "charcoal_time"}},
	{"filter dust", []string{"filter_loading"}},
	{"bed", []string{"bed_exit"}},
	{"shaft", []string{"shaft_power"}},
	{"walls at 60 °C in", []string{"wall_cold_time"}},
}

// reckoned is one line of what is known now that no sensor shows.
func (s *story) reckoned(readings []sensors.Reading) string {
	words := make(map[string]string, len(readings))
	for i, c := range s.channels() {
		if readings[i].Status == sensors.Good {
			words[c.Name] = s.cfg.Display.Format(c.Quantity, readings[i].Value)
		}
	}
	var places []string
	for _, l := range inferred {
		var shown []string
		for _, c := range l.channels {
			if w := words[c]; w != "" {
				shown = append(shown, w)
			}
		}
		if len(shown) > 0 {
			places = append(places, l.place+" "+strings.Join(shown, ", "))
		}
	}
	if words[cooldown.ColdChannel] != "" {
		places = append(places, cooldown.Caution)
	}
	return strings.Join(places, " · ")
}

// look is one line of readings; what is not good shows its fault word.
func (s *story) look(readings []sensors.Reading) string {
	words := make(map[string]string, len(readings))
	for i, c := range s.cfg.Channels {
		words[c.Name] = readings[i].Status.String()
		if readings[i].Status == sensors.Good {
			words[c.Name] = s.cfg.Display.Format(c.Quantity, readings[i].Value)
		}
	}
	var places []string
	for _, l := range looked {
		var shown []string
		for _, c := range l.channels {
			shown = append(shown, words[c])
		}
		places = append(places, l.place+" "+strings.Join(shown, ", "))
	}
	return strings.Join(places, " · ")
}

// summary is the end of the story.
func (s *story) summary(mqttPublished, mqttDropped uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	end := s.clock.Now()
	fmt.Fprintf(s.w, "\nSummary of %s on the rig\n\n", end.Sub(s.start).Round(time.Second))
	tw := tabwriter.NewWriter(s.w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "  channel\thighest\tat")
	for _, c := range s.cfg.Channels {
		if p, ok := s.peaks[c.Name]; ok && c.Quantity != sensors.Age {
			fmt.Fprintf(tw, "  %s\t%s\t%s\n", c.Name, s.cfg.Display.Format(c.Quantity, p.value), s.stamp(p.at))
		}
	}
	tw.Flush()
	fmt.Fprintln(s.w)
	if len(s.raised) == 0 {
		fmt.Fprintln(s.w, "  no alarm was raised")
	} else {
		fmt.Fprintln(tw, "  alarm\tpriority\tcame\tstood")
		for _, e := range s.raised {
			stood := "to the end"
			if !e.to.IsZero() {
				stood = e.to.Sub(e.from).Round(time.Second).String()
			}
			fmt.Fprintf(tw, "  %s\t%s\t%s\t%s\n", e.rule.Name, e.rule.Priority, s.stamp(e.from), stood)
		}
		tw.Flush()
	}
	fmt.Fprintf(s.w, "\n  %d ticks, %d missed; %d readings dropped; %d MQTT messages, %d dropped\n",
		s.health.ticks, s.health.missed, s.health.dropped, mqttPublished, mqttDropped)
	fmt.Fprintf(s.w, "\n%s\n", caution)
}
