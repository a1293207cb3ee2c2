package main

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"charwarden/config"
)

// The screens of a calm rig and of one in trouble, in the sizes of common
// terminals; `go test -update` writes them anew.
func TestScreens(t *testing.T) {
	imperial, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	imperial.Display = config.Display{Temperature: "degF", Pressure: "inH2O", Mass: "lb"}
	for _, c := range []struct {
		name, of      string
		width, height int
		cfg           *config.Config
	}{
		{"calm_80x24", "calm", 80, 24, nil},
		{"trouble_80x24", "trouble", 80, 24, nil},
		{"trouble_132x43", "trouble", 132, 43, imperial},
		{"trouble_40x12", "trouble", 40, 12, nil},
		{"calm_all", "calm", 80, 0, nil},
	} {
		l := seen(t, c.of)
		s := &screen{cfg: c.cfg, width: c.width, height: c.height}
		lines := s.draw(l, earlier(t, l), 300*time.Millisecond)
		fits(t, c.name, lines, c.width, c.height)
		got := plain(l, lines)
		golden := "testdata/watch/" + c.name + ".golden"
		if *update {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s is now:\n%s", golden, got)
		}
		// Colour adds nothing but colour.
		s.colour = true
		painted := s.draw(l, earlier(t, l), 300*time.Millisecond)
		if plain(l, painted) != got || !strings.Contains(strings.Join(painted, ""), "\x1b[") {
			t.Errorf("%s: in colour it says something else:\n%s", c.name, plain(l, painted))
		}
	}
}

// plain is a screen without colour, blanks at the ends of lines, and the zone of
// this machine.
func plain(l *liveRow, lines []string) string {
	var b strings.Builder
	for _, s := range lines {
		b.WriteString(strings.TrimRight(stripped(s), " ") + "\n")
	}
	utc, _, _ := strings.Cut(strings.Replace(l.Time, "T", " ", 1), ".")
	return strings.Replace(b.String(), localTime(l.Time), utc, 1)
}

func stripped(s string) string {
	return regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(s, "")
}

func fits(t *testing.T, name string, lines []string, width, height int) {
	t.Helper()
	if height > 0 && len(lines) > height {
		t.Errorf("%s: %d lines on a screen of %d", name, len(lines), height)
	}
	for i, l := range lines {
		if n := utf8.RuneCountInString(stripped(l)); n > width || strings.ContainsAny(stripped(l), "\x1b\n\r\t") {
			t.Errorf("%s: line %d has %d characters on a screen of %d: %q", name, i, n, width, l)
		}
	}
}

// earlier is a trend over 4 minutes in which every level rose by 2.
func earlier(t *testing.T, l *liveRow) *trend {
	t.Helper()
	now, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		t.Fatal(err)
	}
	before := liveRow{Time: *stampOf(now.Add(-4 * time.Minute))}
	for _, r := range l.Readings {
		if r.Value != nil {
			v := *r.Value - 2
			r.Value = &v
		}
		before.Readings = append(before.Readings, r)
	}
	tr := new(trend)
	tr.take(before)
	tr.take(*l)
	return tr
}

// Whatever the size, nothing is wider or longer than the screen, and with all
// channels bad no number of any stands on it.
func TestScreenOfBadChannels(t *testing.T) {
	l := seen(t, "calm")
	tr := earlier(t, l)
	l.Alarms, l.Causes = nil, nil
	for i := range l.Readings {
		r := &l.Readings[i]
		r.Value, r.AgeS = nil, nil
		r.Status = []string{"stale", "open", "unzeroed", "clipped_high", "a_word_of_a_newer_daemon_which_is_long"}[i%5]
	}
	for _, size := range [][2]int{{80, 24}, {80, 0}, {200, 60}, {20, 5}, {1, 1}, {39, 200}} {
		s := &screen{width: size[0], height: size[1]}
		lines := s.draw(l, tr, 0)
		fits(t, fmt.Sprint(size), lines, size[0], size[1])
		fits(t, fmt.Sprint(size), s.gone(time.Minute, errors.New("dial unix /run/charwarden/charwarden.sock: no")), size[0], size[1])
		if size[1] != 0 {
			continue
		}
		text := strings.Join(lines[2:], "\n")
		for _, unit := range []string{"°C", "Pa", "ppm", "rpm", "kg", " V\n"} {
			if strings.Contains(text, unit) {
				t.Errorf("%q stands on a screen of bad channels:\n%s", unit, text)
			}
		}
		if strings.Count(text, "stale") < 10 || strings.Count(text, "unzeroed") < 10 {
			t.Errorf("%s", text)
		}
	}
}

// A last value with its age is words, not a value.
func TestStaleChannel(t *testing.T) {
	l := seen(t, "calm")
	age := 12.3
	for i := range l.Readings {
		if r := &l.Readings[i]; r.Channel == "wall_near" {
			r.Value, r.Status, r.AgeS = nil, "stale", &age
		}
	}
	text := strings.Join((&screen{width: 80, height: 24}).draw(l, new(trend), 0), "\n")
	if !regexp.MustCompile(`wall_near +stale, 12 s old`).MatchString(text) {
		t.Errorf("%s", text)
	}
}

func TestTrend(t *testing.T) {
	var tr trend
	s := &screen{}
	start := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	row := func(v *float64) readingRow {
		return readingRow{Channel: "wall_near", Quantity: "temperature", Unit: "degC", Value: v, Status: "good"}
	}
	take := func(at time.Duration, v *float64) string {
		r := row(v)
		tr.take(liveRow{Time: *stampOf(start.Add(at)), Readings: []readingRow{r}})
		return tr.change(s, r)
	}
	num := func(v float64) *float64 { return &v }
	if got := take(0, num(600)); got != "" {
		t.Errorf("%q at the start", got)
	}
	if got := take(30*time.Second, num(601.5)); got != "+1.5" {
		t.Errorf("%q after 30 s", got)
	}
	if got := take(31*time.Second, nil); got != "" {
		t.Errorf("%q without a value", got)
	}
	for at := 32 * time.Second; at <= 20*time.Minute; at += time.Second {
		take(at, num(600+at.Minutes()))
	}
	if got := take(20*time.Minute+time.Second, num(620)); got != "+10.0" && got != "+10.1" && got != "+9.9" {
		t.Errorf("%q over 10 minutes of 1 a minute", got)
	}
	if len(tr.past) > 70 {
		t.Errorf("%d samples are kept", len(tr.past))
	}
	s.cfg = &config.Config{Display: config.Display{Temperature: "degF"}}
	if got := tr.change(s, row(num(620))); got != "+18.0" && got != "+18.1" && got != "+17.9" && got != "+18.2" && got != "+17.8" {
		t.Errorf("%q degF over 10 minutes", got)
	}
	s.cfg = nil
	if got := take(19*time.Minute, num(500)); got != "" || tr.span() != 0 {
		t.Errorf("%q after the clock went back", got)
	}
	if got := take(2*time.Hour, num(700)); got != "" {
		t.Errorf("%q after a gap of hours: what came before is too old", got)
	}
}
