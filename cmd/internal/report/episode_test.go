package report

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"charwarden/cmd/internal/runlog"
)

func TestEpisodes(t *testing.T) {
	for _, c := range []struct {
		name, changes string // "s FROM TO seq" of the alarm co_alarm
		commands      []runlog.Command
		want          string // from-to state, acknowledged by
	}{
		{"seen while there", "10 normal unacknowledged 1; 20 unacknowledged acknowledged 1; 40 acknowledged normal 1",
			[]runlog.Command{{Ms: bootMs + 20_000, Person: "kim", Verb: "ack", Body: `{"alarm":"co_alarm","seq":1}`}}, "10-40 normal kim@20"},
		{"seen afterwards", "10 normal unacknowledged 1; 40 unacknowledged returned 1; 60 returned normal 1",
			[]runlog.Command{{Ms: bootMs + 60_000, Person: "phone", Verb: "ack", Body: `{"alarm":"co_alarm","seq":1}`}}, "10-40 normal phone@60"},
		{"by nobody that the log knows", "10 normal unacknowledged 1; 20 unacknowledged acknowledged 1; 40 acknowledged normal 1", nil, "10-40 normal @20"},
		{"of another alarm", "10 normal unacknowledged 1; 20 unacknowledged acknowledged 1",
			[]runlog.Command{{Ms: bootMs + 20_000, Person: "kim", Verb: "ack", Body: `{"alarm":"wall_alarm"}`}}, "10-0 acknowledged open @20"},
		{"refused", "10 normal unacknowledged 1; 20 unacknowledged acknowledged 1",
			[]runlog.Command{{Ms: bootMs + 20_000, Person: "kim", Verb: "ack", Body: `{"alarm":"co_alarm"}`, Err: "no"}}, "10-0 acknowledged open @20"},
		{"latched and reset", "10 normal unacknowledged 1; 30 unacknowledged latched 1; 40 latched latched_acknowledged 1; 50 latched_acknowledged normal 1", nil, "10-30 normal @40"},
		{"waits for its reset", "10 normal unacknowledged 1; 30 unacknowledged latched 1; 40 latched latched_acknowledged 1", nil, "10-30 latched_acknowledged open @40"},
		{"re-alarmed is one", "10 normal unacknowledged 1; 20 unacknowledged acknowledged 1; 260 acknowledged unacknowledged 1; 300 unacknowledged returned 1", nil, "10-300 returned open @20"},
		{"twice", "10 normal unacknowledged 1; 20 unacknowledged returned 1; 30 returned unacknowledged 2; 50 unacknowledged returned 2", nil, "10-20 returned open; 30-50 returned open"},
		{"latched, and again", "10 normal unacknowledged 1; 20 unacknowledged latched 1; 30 latched unacknowledged 2", nil, "10-20 latched open; 30-0 unacknowledged open"},
		{"stood before", "0 unacknowledged unacknowledged 4; 20 unacknowledged returned 4", nil, "0-20 returned open"},
		{"shelved away", "10 normal unacknowledged 1; 20 unacknowledged shelved 1", nil, "10-20 shelved"},
		{"only shelved", "10 normal shelved 0; 20 shelved normal 0", nil, ""},
		{"suppressed and back", "10 normal suppressed 0; 20 suppressed unacknowledged 1; 30 unacknowledged returned 1", nil, "20-30 returned open"},
	} {
		r := bare(c.commands...)
		for _, s := range strings.Split(c.changes, "; ") {
			tr := runlog.Transition{Alarm: "co_alarm", Channel: "co", Priority: "alarm", Unit: "ppm"}
			var at int64
			if _, err := fmt.Sscan(s, &at, &tr.From, &tr.To, &tr.Seq); err != nil {
				t.Fatal(err)
			}
			tr.Ms = bootMs + 1000*at
			r.transitions = append(r.transitions, tr)
		}
		var got []string
		for _, e := range r.occurrences() {
			to := int64(0)
			if e.to > 0 {
				to = (e.to - bootMs) / 1000
			}
			s := fmt.Sprintf("%d-%d %s", (e.from-bootMs)/1000, to, e.state)
			if e.open {
				s += " open"
			}
			if e.acked > 0 {
				s += fmt.Sprintf(" %s@%d", e.by, (e.acked-bootMs)/1000)
			}
			got = append(got, s)
		}
		if g := strings.Join(got, "; "); g != c.want {
			t.Errorf("%s: %q, want %q", c.name, g, c.want)
		}
	}
}

// A rise a minute and a distance are no levels: 30 degrees are not 86 °F.
func TestFigureOfAnAlarm(t *testing.T) {
	r := bare()
	r.units = Units{Temperature: Unit{"°F", 1.8, 32}}
	r.rig.Limits = []Limit{{"wall_alarm", "wall", "alarm", "above", 600, ""}, {"wall_rate", "wall", "caution", "rate", 30, ""}, {"wall_spread", "wall", "caution", "deviation", 220, ""}}
	for _, c := range []struct {
		alarm, unit, want string
		v                 float64
	}{
		{"wall_alarm", "degC", "1112 °F", 600}, {"wall_rate", "degC/min", "54 °F/min", 30}, {"wall_spread", "degC", "396 °F", 220},
		{"wall_new", "K", "3.0 K", 3}, {"wall_fault", "", "", math.NaN()},
	} {
		e := episode{alarm: c.alarm, channel: "wall", unit: c.unit}
		if got := r.figure(&e, c.v); got != c.want {
			t.Errorf("%s: %q, want %q", c.alarm, got, c.want)
		}
	}
}
