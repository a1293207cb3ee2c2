package main

import (
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"charwarden/alarms"
)

var update = flag.Bool("update", false, "write testdata/co_curves.golden anew")

const curvesGolden = "testdata/co_curves.golden"

// curve is what a standard wants of a CO alarm for homes at one concentration;
// minutes, negative where it wants nothing.
type curve struct {
	standard, ppm, kind string
	notBefore, by       float64
}

// homeCurves reads the rows of UL 2034 and EN 50291-1 as alarm manuals and
// summaries of the standards give them.
func homeCurves(t *testing.T) (curves []curve) {
	t.Helper()
	f, err := os.Open("../../testdata/published/co_alarm_curves.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	minutes := func(s string) float64 {
		if s == "" {
			return -1
		}
		m, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	for _, row := range rows[1:] {
		if s := row[0]; s == "UL 2034" || s == "EN 50291-1" {
			curves = append(curves, curve{s, row[1], row[4], minutes(row[2]), minutes(row[3])})
		}
	}
	if len(curves) != 9 {
		t.Fatalf("%d rows of UL 2034 and EN 50291-1, want 9", len(curves))
	}
	return curves
}

func (c curve) window() string {
	var words []string
	if c.notBefore >= 0 {
		words = append(words, "not before "+spell(c.notBefore))
	}
	if c.by >= 0 {
		words = append(words, "at "+spell(c.by)+" at the latest")
	}
	s := strings.Join(words, ", ")
	if c.kind != "source text" {
		s += " (from memory)"
	}
	return s
}

// spell writes minutes as a person does.
func spell(minutes float64) string {
	switch {
	case minutes == 0:
		return "once"
	case minutes >= 2*24*60:
		return fmt.Sprintf("%.4g days", minutes/(24*60))
	case minutes >= 10*60:
		return fmt.Sprintf("%.1f h", minutes/60)
	}
	return strconv.FormatFloat(minutes, 'f', -1, 64) + " min"
}

// steady is a recording of one concentration for a time, a row a second.
func steadyAir(ppm string, minutes int) string {
	var b strings.Builder
	b.WriteString("seconds,channel,value\n")
	for s := range minutes*60 + 1 {
		fmt.Fprintf(&b, "%d,co,%s\n", s, ppm)
	}
	return b.String()
}

// curveHours is how long each row is followed: as long as the working day that
// the doses know, and until the estimate of COHb has settled.
const curveHours = 24

// calledFirst is the first call of a priority, or of a higher one.
func calledFirst(calls []alarms.Transition, from, to alarms.Priority) (alarm string, minutes float64) {
	for _, c := range calls {
		if p := c.Rule.Priority; p >= from && p <= to {
			return c.Rule.Name, c.At.Sub(epoch).Minutes()
		}
	}
	return "", -1
}

// whyEarlier says, by alarm, why it comes before a standard for homes would
// let it.
var whyEarlier = map[string]string{
	"co_alarm":               "100 ppm is the EU limit for 15 min; here it counts at once",
	"co_evacuate":            "200 ppm is the NIOSH ceiling: nobody stays in it",
	"co_cohb_linear_alarm":   "5 % COHb by estimate, at heavy work; UL 2034 aims at about 10 %",
	"co_mean_5min_alarm":     "half of the NIOSH ceiling, over 5 min",
	"co_stel_15min_alarm":    "the EU limit for 15 min",
	"co_cohb_linear_caution": "",
}

// The alarms for homes wait for a dose that a sleeper must not get; ours must
// never be later than they are. Constant CO from minute 0 on, on the reference
// rig with nothing but the cell fitted. Rows of the standards: manuals of
// alarms and summaries of the standards, as testdata/published says row by row.
func TestHomeAlarmCurves(t *testing.T) {
	slowUnderRace(t)
	var b strings.Builder
	b.WriteString("| standard | ppm | there | our caution | our alarm | by | earlier than the standard because |\n|---|---|---|---|---|---|---|\n")
	played := make(map[string][]alarms.Transition)
	for _, c := range homeCurves(t) {
		calls, done := played[c.ppm]
		if !done {
			calls = raised(t, steadyAir(c.ppm, curveHours*60))
			played[c.ppm] = calls
		}
		_, caution := calledFirst(calls, alarms.Caution, alarms.Caution)
		by, alarm := calledFirst(calls, alarms.High, alarms.Evacuate)
		if c.by >= 0 && (alarm < 0 || alarm > c.by) {
			t.Errorf("%s, %s ppm: alarm at %v min (%s), want it by %v min", c.standard, c.ppm, alarm, by, c.by)
		}
		if c.ppm == "30" && alarm >= 0 && alarm < 120 {
			t.Errorf("%s, 30 ppm: %s at %v min, want nothing above caution for 120 min", c.standard, by, alarm)
		}
		why := "-"
		if alarm >= 0 && alarm < c.notBefore {
			if why = whyEarlier[by]; why == "" {
				t.Errorf("%s, %s ppm: %s at %v min, before %v min, and nobody says why", c.standard, c.ppm, by, alarm, c.notBefore)
			}
		}
		said := func(m float64) string {
			switch {
			case m < 0:
				return fmt.Sprintf("none in %d h", curveHours)
			case m == 0:
				return "at once"
			}
			return "after " + spell(float64(int(m*10+0.5))/10)
		}
		if by == "" {
			by = "-"
		} else {
			by = "`" + by + "`"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s | %s |\n", c.standard, c.ppm, c.window(), said(caution), said(alarm), by, why)
	}
	if *update {
		if err := os.WriteFile(curvesGolden, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(curvesGolden)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("%s: go test -run TestHomeAlarmCurves -update writes it anew; got\n%s", curvesGolden, b.String())
	}
}
