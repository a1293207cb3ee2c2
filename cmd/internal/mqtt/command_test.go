package mqtt

import (
	"fmt"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

func TestParseCommand(t *testing.T) {
	top := pumpTopics(t)
	for _, tc := range []struct {
		topic, payload string
		retained       bool
		want           Command
		ok             bool
	}{
		{"charwarden/pump/do/kim/ack", "wall_near_stop 3", false, Command{"kim", "ack", "wall_near_stop 3", start}, true},
		{"charwarden/pump/do/kim/ack", "wall_near_stop 3\r\n", false, Command{"kim", "ack", "wall_near_stop 3", start}, true},
		{"charwarden/pump/do/kim/note", "Düse gereinigt, 12 °C", false, Command{"kim", "note", "Düse gereinigt, 12 °C", start}, true},
		{"charwarden/pump/do/kim/silence", "", false, Command{"kim", "silence", "", start}, true},
		{"charwarden/pump/do/kim/silence", "\x00\xff" + strings.Repeat("x", 999), false, Command{"kim", "silence", "", start}, true},
		{"charwarden/pump/do/kim/silence", "", true, Command{}, false},
		{"charwarden/pump/do/kim/ack", "wall_near_stop 3", true, Command{}, false},
		{"charwarden/pump/do/kim/reset", "co_evacuate", false, Command{}, false},
		{"charwarden/pump/do/kim/shelve", "co_evacuate 1h", false, Command{}, false},
		{"charwarden/pump/do/kim/note", strings.Repeat("x", 256), false, Command{"kim", "note", strings.Repeat("x", 256), start}, true},
		{"charwarden/pump/do/kim/note", strings.Repeat("x", 257), false, Command{}, false},
		{"charwarden/pump/do/kim/note", "a\x1b[31mb", false, Command{}, false},
		{"charwarden/pump/do/kim/note", "a\nb", false, Command{}, false},
		{"charwarden/pump/do/kim/note", "\xff", false, Command{}, false},
		{"charwarden/pump/do/kim", "x", false, Command{}, false},
		{"charwarden/other/do/kim/note", "x", false, Command{}, false},
	} {
		got, err := parseCommand(top, tc.topic, []byte(tc.payload), tc.retained, start)
		if (err == nil) != tc.ok || got != tc.want {
			t.Errorf("%s %q retained=%v: %+v, %v; want %+v, ok=%v", tc.topic, tc.payload, tc.retained, got, err, tc.want, tc.ok)
		}
	}
}

func TestParseAck(t *testing.T) {
	for _, tc := range []struct {
		text, name string
		seq        uint64
		ok         bool
	}{
		{"wall_near_stop 3", "wall_near_stop", 3, true},
		{"co_evacuate 18446744073709551615", "co_evacuate", 1<<64 - 1, true},
		{"co_evacuate 18446744073709551616", "", 0, false},
		{"co_evacuate 0", "", 0, false}, // would acknowledge what nobody saw
		{"co_evacuate 03", "", 0, false},
		{"co_evacuate -1", "", 0, false},
		{"co_evacuate +1", "", 0, false},
		{"co_evacuate 1.0", "", 0, false},
		{"co_evacuate 1 2", "", 0, false},
		{"co_evacuate  1", "", 0, false},
		{"co_evacuate", "", 0, false},
		{"co_evacuate ", "", 0, false},
		{" 1", "", 0, false},
		{"CO 1", "", 0, false},
		{"", "", 0, false},
	} {
		name, seq, err := ParseAck(tc.text)
		if name != tc.name || seq != tc.seq || (err == nil) != tc.ok {
			t.Errorf("ParseAck(%q) = %q, %d, %v; want %q, %d, ok=%v", tc.text, name, seq, err, tc.name, tc.seq, tc.ok)
		}
	}
}

func FuzzParseAck(f *testing.F) {
	for _, s := range []string{"wall_near_stop 3", "a 0", " ", "x 18446744073709551615", "x\x00 1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		name, seq, err := ParseAck(text)
		if err != nil {
			if name != "" || seq != 0 {
				t.Fatalf("%q: %v, and yet %q %d", text, err, name, seq)
			}
			return
		}
		if back := fmt.Sprintf("%s %d", name, seq); back != text || seq == 0 {
			t.Fatalf("%q comes back as %q", text, back)
		}
	})
}

func FuzzParseCommand(f *testing.F) {
	f.Add("charwarden/pump/do/kim/ack", []byte("wall_near_stop 3"), false)
	f.Add("charwarden/pump/do/kim/silence", []byte{0xff}, false)
	f.Add("charwarden/pump/do/kim/note", []byte("\x1b"), true)
	top := pumpTopics(f)
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		c, err := parseCommand(top, topic, payload, retained, start)
		if err != nil {
			if c != (Command{}) {
				t.Fatalf("refused with %v, and yet %+v", err, c)
			}
			return
		}
		if retained || top.Command(c.Person, c.Verb) != topic {
			t.Fatalf("%q retained=%v became %+v", topic, retained, c)
		}
		if c.Verb != "ack" && c.Verb != "silence" && c.Verb != "note" {
			t.Fatalf("verb %q", c.Verb)
		}
		if len(c.Text) > maxPayload || !utf8.ValidString(c.Text) ||
			strings.ContainsFunc(c.Text, func(r rune) bool { return !unicode.IsPrint(r) }) {
			t.Fatalf("text %q", c.Text)
		}
	})
}
