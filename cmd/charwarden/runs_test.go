package main

import (
	"fmt"
	"strings"
	"testing"

	"charwarden/sensors/derive/phase"
)

// A run begins with the fire and ends cold, whatever people say in between.
func TestRunsByPhase(t *testing.T) {
	const (
		unknown = phase.Unknown
		cold    = phase.Cold
		light   = phase.Lighting
		warm    = phase.Warming
		run     = phase.Running
		stop    = phase.Stopping
		sealed  = phase.Sealed
	)
	for _, c := range []struct {
		name string
		do   []any
		want string
	}{
		{"a day", []any{unknown, cold, light, warm, run, stop, sealed, cold}, "begin phase, end phase"},
		{"two fires, cold between", []any{cold, light, cold, light}, "begin phase, end phase, begin phase"},
		{"lit again while sealed and hot", []any{cold, light, run, sealed, light, run}, "begin phase, end phase, begin phase"},
		{"a daemon that starts beside a running rig", []any{unknown, run, sealed}, "begin phase"},
		{"a phase that is not known for a while", []any{cold, light, unknown, light, run, unknown, cold}, "begin phase"},
		{"sealed rig, daemon restarted", []any{unknown, sealed, cold}, ""},
		{"by hand, before the fire", []any{cold, "start", light, run, sealed, cold}, "begin anna, end phase"},
		{"stopped by hand while it burns", []any{cold, light, run, "stop", warm, run}, "begin phase, end anna"},
		{"and the next fire", []any{cold, light, run, "stop", sealed, cold, light}, "begin phase, end anna, begin phase"},
		{"stopped and started by hand", []any{cold, light, "stop", "start", run, cold}, "begin phase, end anna, begin anna, end phase"},
		{"started twice", []any{cold, "start", "start"}, "begin anna, refused"},
		{"stopped without", []any{cold, "stop"}, "refused"},
	} {
		r := runs{was: unknown}
		var got []string
		for _, step := range c.do {
			var err error
			switch s := step.(type) {
			case phase.Phase:
				r.step(s)
			case string:
				if s == "start" {
					err = r.begin("anna")
				} else {
					err = r.end("anna")
				}
			}
			if err != nil {
				got = append(got, "refused")
			}
			for _, m := range r.marks {
				word := "begin"
				if m.Ends {
					word = "end"
				}
				got = append(got, fmt.Sprintf("%s %s", word, m.By))
			}
			r.marks = nil
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s: %s, want %s", c.name, s, c.want)
		}
	}
}
