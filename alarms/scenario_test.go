package alarms

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// scenario is a file of testdata/scenarios; its format stands at the head of
// wall_hot_and_back.txt.
type scenario struct {
	channels []sensors.Channel
	rules    []Rule
	inputs   []input
	want     []string
	end      time.Duration
}

type input struct {
	at      time.Duration
	reading *sensors.Reading // else a person's act:
	verb    string
	name    string
	seq     uint64
	refused bool
}

var quantities = map[string]sensors.Quantity{
	"temperature": sensors.Temperature, "pressure": sensors.Pressure, "co": sensors.CO,
	"speed": sensors.Speed, "voltage": sensors.Voltage,
}

func (s *scenario) parse(line string) error {
	f := strings.Fields(line)
	switch {
	case f[0] == "channel" && len(f) == 3:
		q, ok := quantities[f[2]]
		if !ok {
			return fmt.Errorf("quantity %q", f[2])
		}
		s.channels = append(s.channels, sensors.Channel{Name: f[1], Quantity: q})
		return nil
	case f[0] == "rules" && len(f) == 3:
		return s.builtIn(f[1], f[2])
	case f[0] == "rule" && len(f) >= 5:
		return s.rule(f[1], f[2], f[3], f[4], f[5:])
	}
	at, err := time.ParseDuration(f[0])
	if err != nil {
		return err
	}
	if n := len(s.inputs); n > 0 && at < s.inputs[n-1].at {
		return fmt.Errorf("time goes back")
	}
	in := input{at: at}
	switch {
	case len(f) == 2 && f[1] == "end":
		s.end = at
		return nil
	case len(f) == 7 && f[1] == "->":
		s.want = append(s.want, strings.Join(f, " "))
		return nil
	case f[1] == "ack" || f[1] == "reset":
		in.verb, f = f[1], f[2:]
		in.name, f = f[0], f[1:]
		if in.verb == "ack" {
			if in.seq, err = strconv.ParseUint(f[0], 10, 64); err != nil {
				return err
			}
			f = f[1:]
		}
		in.refused = slices.Equal(f, []string{"refused"})
		if len(f) > 0 && !in.refused {
			return fmt.Errorf("left over: %q", f)
		}
	case len(f) == 3:
		r := sensors.Bad(f[1], time.Time{}, sensors.Unknown, nil)
		if r.Value, err = strconv.ParseFloat(f[2], 64); err == nil {
			r.Status = sensors.Good
		} else {
			word, value, clipped := strings.Cut(f[2], "=")
			if r.Status, err = sensors.ParseStatus(word); err != nil {
				return err
			}
			r.Value = math.NaN()
			if clipped {
				if r.Value, err = strconv.ParseFloat(value, 64); err != nil {
					return err
				}
			}
		}
		in.reading = &r
	default:
		return fmt.Errorf("no such line")
	}
	s.inputs = append(s.inputs, in)
	return nil
}

func (s *scenario) builtIn(set, name string) error {
	i := slices.IndexFunc(s.channels, func(c sensors.Channel) bool { return c.Name == name })
	if i < 0 {
		return fmt.Errorf("channel %q", name)
	}
	switch set {
	case "fault":
		s.rules = append(s.rules, FaultRule(s.channels[i]))
	case "unzeroed":
		s.rules = append(s.rules, UnzeroedRule(name))
	case "co":
		s.rules = append(s.rules, CORules(name)...)
	case "wall":
		s.rules = append(s.rules, WallRules(name, CarbonSteel)[:4]...) // the levels
	case "filter_drop":
		s.rules = append(s.rules, FilterDropRules(name)...)
	default:
		return fmt.Errorf("rules %q", set)
	}
	return nil
}

func (s *scenario) rule(name, channel, kind, priority string, options []string) (err error) {
	r := Rule{Name: name, Channel: channel, Means: "a test", DoFirst: "read the test"}
	if r.Kind, err = ParseKind(kind); err != nil {
		return err
	}
	if r.Priority, err = ParsePriority(priority); err != nil {
		return err
	}
	for _, o := range options {
		key, value, _ := strings.Cut(o, "=")
		switch key {
		case "limit":
			r.Limit, err = strconv.ParseFloat(value, 64)
		case "deadband":
			r.Deadband, err = strconv.ParseFloat(value, 64)
		case "on":
			r.OnDelay, err = time.ParseDuration(value)
		case "off":
			r.OffDelay, err = time.ParseDuration(value)
		case "again":
			r.ReAlarm, err = time.ParseDuration(value)
		case "latch":
			r.Latch = true
		case "never":
			r.Never = true
		case "stops":
			r.Stops = true
		default:
			err = fmt.Errorf("option %q", o)
		}
		if err != nil {
			return err
		}
	}
	s.rules = append(s.rules, r)
	return nil
}

// run returns the transitions in the words of the file.
func (s *scenario) run(t *testing.T) (got []string) {
	e, err := New(s.rules, s.channels)
	if err != nil {
		t.Fatal(err)
	}
	note := func(c Transition) {
		got = append(got, fmt.Sprintf("%ds -> %s %v %v %s %d", int(c.At.Sub(day).Seconds()),
			c.Rule.Name, c.From, c.State, strings.ToLower(strconv.FormatFloat(c.Value, 'g', -1, 64)), c.Seq))
	}
	sweep := make([]sensors.Reading, len(s.channels))
	todo := s.inputs
	for at := time.Duration(0); at <= s.end; at += time.Second {
		n := 0
		for n < len(todo) && todo[n].at <= at {
			if r := todo[n].reading; r != nil {
				i := slices.IndexFunc(s.channels, func(c sensors.Channel) bool { return c.Name == r.Channel })
				if i < 0 {
					t.Fatalf("%v: no channel %q", at, r.Channel)
				}
				sweep[i] = *r
			}
			n++
		}
		for _, c := range e.Step(day.Add(at), sweep, phase.Running) {
			note(c)
		}
		for _, in := range todo[:n] {
			var c Transition
			var err error
			switch in.verb {
			case "ack":
				c, err = e.Acknowledge(day.Add(at), in.name, in.seq)
			case "reset":
				c, err = e.Reset(day.Add(at), in.name)
			default:
				continue
			}
			if in.refused != (err != nil) {
				t.Errorf("%v %s %s: error %v, want refused %v", at, in.verb, in.name, err, in.refused)
			}
			if err == nil {
				note(c)
			}
		}
		todo = todo[n:]
	}
	if len(todo) > 0 {
		t.Errorf("%d lines after the end", len(todo))
	}
	return got
}

func TestScenarios(t *testing.T) {
	files, err := filepath.Glob("../testdata/scenarios/*.txt")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d scenarios (%v), want at least 10", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var s scenario
			for i, line := range strings.Split(string(text), "\n") {
				line, _, _ = strings.Cut(line, "#")
				if strings.TrimSpace(line) == "" {
					continue
				}
				if err := s.parse(line); err != nil {
					t.Fatalf("line %d: %s: %v", i+1, line, err)
				}
			}
			got := s.run(t)
			for i := range max(len(got), len(s.want)) {
				g, w := "(none)", "(none)"
				if i < len(got) {
					g = got[i]
				}
				if i < len(s.want) {
					w = s.want[i]
				}
				if g != w {
					t.Fatalf("transition %d:\n got %s\nwant %s", i+1, g, w)
				}
			}
			if len(s.want) == 0 || s.end == 0 {
				t.Error("the file wants nothing, or has no end")
			}
		})
	}
}
