package main

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
)

var update = flag.Bool("update", false, "write the table of CO alarm times anew")

// steadyCO replays minutes of constant CO on the reference rig with nothing but
// its cell, and returns the player at the end and what called, in order.
func steadyCO(t *testing.T, ppm func(minute float64) float64, minutes int) (*player, []alarms.Transition) {
	t.Helper()
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	cfg.Tick = time.Second
	var rows []sample
	for s := 0; s <= minutes*60; s++ {
		rows = append(rows, sample{time.Duration(s) * time.Second, "co", ppm(float64(s) / 60), sensors.Good})
	}
	p, err := newPlayer(cfg, rows, 0)
	if err != nil {
		t.Fatal(err)
	}
	var calls []alarms.Transition
	for !p.ended() {
		for _, c := range p.step() {
			if c.Annunciates() {
				calls = append(calls, c)
			}
		}
	}
	return p, calls
}

// The time windows of UL 2034 and EN 50291-1 (as printed in alarm manuals and a
// summary page): 'alarm' or higher comes no later than the end of each; where
// ours is earlier than its beginning, the table in README says so and why.
func TestAlarmCurves(t *testing.T) {
	f, err := os.Open("../../testdata/published/co_alarm_curves.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', -1
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var table strings.Builder
	table.WriteString("| standard | CO | its window | our caution | our alarm | by | earlier, because |\n|---|---|---|---|---|---|---|\n")
	seen := 0
	for _, l := range lines[1:] {
		if l[0] != "UL 2034" && l[0] != "EN 50291-1" || l[4] != "source text" {
			continue
		}
		seen++
		number := func(i int) float64 {
			v, err := strconv.ParseFloat(l[i], 64)
			if err != nil {
				return math.NaN()
			}
			return v
		}
		ppm, from, to := number(1), number(2), number(3)
		length := 600
		if !math.IsNaN(to) {
			length = int(to)
		}
		_, calls := steadyCO(t, func(float64) float64 { return ppm }, length)
		caution, alarm, by := math.NaN(), math.NaN(), "-"
		for _, c := range calls {
			at := c.At.Sub(epoch).Minutes()
			if c.Rule.Priority == alarms.Caution && math.IsNaN(caution) {
				caution = at
			}
			if c.Rule.Priority >= alarms.High && math.IsNaN(alarm) {
				alarm, by = at, c.Rule.Name
			}
		}
		if !math.IsNaN(to) && !(alarm <= to) {
			t.Errorf("%s, %v ppm: alarm after %.1f min, must come by %v", l[0], ppm, alarm, to)
		}
		if ppm == 30 && alarm < 120 {
			t.Errorf("%s, 30 ppm: %s after %.1f min: nothing above caution in the first 120", l[0], by, alarm)
		}
		why := "-"
		if alarm < from {
			why = "100 ppm is the EU short-term limit, and a worker can step back at once"
			if strings.Contains(by, "cohb") {
				why = "reckoned for heavy work and 5 % COHb, not 10 % in a sleeper"
			}
		}
		fmt.Fprintf(&table, "| %s | %.0f ppm | %s | %s | %s | %s | %s |\n", l[0], ppm, window(from, to), minutes(caution), minutes(alarm), by, why)
	}
	if seen != 8 {
		t.Errorf("%d rows of the two standards, want 8", seen)
	}
	const begin, end = "<!-- co-curves -->\n", "<!-- /co-curves -->"
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(readme), begin)
	was, tail, closed := strings.Cut(rest, end)
	switch {
	case !ok || !closed:
		t.Fatal("README.md has no place for the table")
	case was == table.String():
	case *update:
		if err := os.WriteFile("../../README.md", []byte(head+begin+table.String()+end+tail), 0o644); err != nil {
			t.Fatal(err)
		}
	default:
		t.Errorf("README.md has another table (-update writes this one):\n%s", table.String())
	}
}

func window(from, to float64) string {
	switch {
	case math.IsNaN(to) && from >= 1440:
		return fmt.Sprintf("none for %.0f d", from/1440)
	case math.IsNaN(to):
		return fmt.Sprintf("not before %.0f min", from)
	case math.IsNaN(from):
		return fmt.Sprintf("within %.0f min", to)
	}
	return fmt.Sprintf("%.0f to %.0f min", from, to)
}

func minutes(m float64) string {
	switch {
	case math.IsNaN(m):
		return "none in 10 h"
	case m < 0.1:
		return "at once"
	}
	return fmt.Sprintf("%.0f min", math.Ceil(m))
}

// 2 h at 150 ppm, 2 h at 75 and 4 h at 50 are 81.25 ppm over 8 h: the worked
// example of 29 CFR 1910.1000(d)(1)(i), stepped through the daemon's core.
func TestWorkedExampleOfOSHA(t *testing.T) {
	p, _ := steadyCO(t, func(m float64) float64 {
		switch {
		case m < 120:
			return 150
		case m < 240:
			return 75
		}
		return 50
	}, 480)
	x := p.reading("co_twa_8h")
	if x == nil || x.Status != sensors.Good || math.Abs(x.Value-81.25) > 0.05 {
		t.Errorf("%+v, want 81.25 ppm", x)
	}
}
