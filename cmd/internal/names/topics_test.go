package names

import (
	"strings"
	"testing"
	"unicode/utf8"
)

func pump(t testing.TB) Topics {
	t.Helper()
	top, err := NewTopics("charwarden", "pump")
	if err != nil {
		t.Fatal(err)
	}
	return top
}

func TestTopics(t *testing.T) {
	p := pump(t)
	for _, tc := range []struct{ got, want string }{
		{p.Status(), "charwarden/pump/status"},
		{p.Heartbeat(), "charwarden/pump/heartbeat"},
		{p.Reading("wall_near"), "charwarden/pump/reading/wall_near"},
		{p.Alarm("co_evacuate"), "charwarden/pump/alarm/co_evacuate"},
		{p.Summary(), "charwarden/pump/summary"},
		{p.Diagnosis(), "charwarden/pump/diagnosis"},
		{p.Notify(), "charwarden/pump/notify"},
		{p.Events(), "charwarden/pump/events"},
		{p.Do(), "charwarden/pump/do/+/+"},
		{p.Command("kim", "ack"), "charwarden/pump/do/kim/ack"},
	} {
		if tc.got != tc.want {
			t.Errorf("got %q, want %q", tc.got, tc.want)
		}
	}
}

// The refusals follow OASIS MQTT 3.1.1, 4.7.1 (wildcards), 4.7.2 ($) and 1.5.3
// (UTF-8, no U+0000).
func TestNewTopics(t *testing.T) {
	for _, tc := range []struct {
		prefix, rig string
		ok          bool
	}{
		{"charwarden", "pump", true},
		{"site/yard/charwarden", "pump-2", true},
		{"charwarden", "Bewässerung", true},
		{"", "pump", false},
		{"charwarden", "", false},
		{"/charwarden", "pump", false},
		{"charwarden/", "pump", false},
		{"charwarden", "a/b", false},
		{"charwarden/+", "pump", false},
		{"charwarden", "#", false},
		{"$SYS", "pump", false},
		{"charwarden", "pu\x00mp", false},
		{"charwarden", "pu\xffmp", false},
		{"charwarden", strings.Repeat("p", maxLevel+1), false},
	} {
		if _, err := NewTopics(tc.prefix, tc.rig); (err == nil) != tc.ok {
			t.Errorf("NewTopics(%q, %q): error %v, want ok=%v", tc.prefix, tc.rig, err, tc.ok)
		}
	}
}

func TestParseDo(t *testing.T) {
	p := pump(t)
	for _, tc := range []struct {
		topic, person, verb string
		ok                  bool
	}{
		{"charwarden/pump/do/kim/ack", "kim", "ack", true},
		{"charwarden/pump/do/yard phone/silence", "yard phone", "silence", true},
		{"charwarden/pump/do/kim/dance", "kim", "dance", true}, // not its business
		{"charwarden/pump/do/kim", "", "", false},
		{"charwarden/pump/do//ack", "", "", false},
		{"charwarden/pump/do/kim/", "", "", false},
		{"charwarden/pump/do/kim/ack/now", "", "", false},
		{"charwarden/pump/do/kim/ACK", "", "", false},
		{"charwarden/pump/do/+/ack", "", "", false},
		{"charwarden/pump/do/k\nm/ack", "", "", false},
		{"charwarden/other/do/kim/ack", "", "", false},
		{"charwarden/pump2/do/kim/ack", "", "", false},
		{"", "", "", false},
	} {
		person, verb, ok := p.ParseDo(tc.topic)
		if person != tc.person || verb != tc.verb || ok != tc.ok {
			t.Errorf("ParseDo(%q) = %q, %q, %v, want %q, %q, %v",
				tc.topic, person, verb, ok, tc.person, tc.verb, tc.ok)
		}
	}
}

func FuzzParseDo(f *testing.F) {
	p := pump(f)
	for _, s := range []string{"charwarden/pump/do/kim/ack", "charwarden/pump/do/+/#", "x", "charwarden/pump/do//"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, topic string) {
		person, verb, ok := p.ParseDo(topic)
		if !ok {
			if person != "" || verb != "" {
				t.Fatalf("%q: not ok but %q, %q", topic, person, verb)
			}
			return
		}
		if back := p.Command(person, verb); back != topic {
			t.Fatalf("%q: round trip gives %q", topic, back)
		}
		if strings.ContainsAny(person+verb, "/+#\x00\n") || !utf8.ValidString(person) {
			t.Fatalf("%q: person %q, verb %q", topic, person, verb)
		}
	})
}
