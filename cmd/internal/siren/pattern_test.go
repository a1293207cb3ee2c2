package siren

import (
	"encoding/csv"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// signals are the rows of published/alarm_signals.csv, by signal and item.
func signals(t *testing.T) func(signal, item string) (value, tolerance string) {
	t.Helper()
	f, err := os.Open("../../../testdata/published/alarm_signals.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	return func(signal, item string) (string, string) {
		t.Helper()
		for _, row := range rows[1:] {
			if row[0] == signal && row[1] == item {
				return row[2], row[3]
			}
		}
		t.Fatalf("no row %q, %q", signal, item)
		return "", ""
	}
}

var quantity = regexp.MustCompile(`([0-9.]+) ?(ms|s|%)`)

// band is a time with its tolerance, as the table has it.
type band struct{ value, tolerance time.Duration }

func bandOf(t *testing.T, value, tolerance string) (b band) {
	t.Helper()
	v, tol := quantity.FindStringSubmatch(value), quantity.FindStringSubmatch(tolerance)
	if v == nil || tol == nil {
		t.Fatalf("value %q, tolerance %q", value, tolerance)
	}
	b.value, _ = time.ParseDuration(v[1] + v[2])
	if n, err := strconv.ParseFloat(tol[1], 64); tol[2] == "%" {
		if err != nil {
			t.Fatal(err)
		}
		b.tolerance = time.Duration(float64(b.value) * n / 100)
	} else {
		b.tolerance, _ = time.ParseDuration(tol[1] + tol[2])
	}
	if b.value == 0 || b.tolerance == 0 {
		t.Fatalf("value %q, tolerance %q: %v", value, tolerance, b)
	}
	return b
}

func (b band) hold(t *testing.T, what string, got time.Duration) {
	t.Helper()
	if (got - b.value).Abs() > b.tolerance {
		t.Errorf("%s: %v, want %v +/- %v", what, got, b.value, b.tolerance)
	}
}

// spans walks the edges of a pattern and returns how long it is on, off, on...
func spans(p Pattern, n int) (out []time.Duration) {
	at := time.Duration(0)
	for range n {
		_, next := p.At(at)
		out = append(out, next-at)
		at = next
	}
	return out
}

// holds checks two rounds of a signal with the given number of pulses.
func holds(t *testing.T, p Pattern, pulses int, on, off, pause band) {
	t.Helper()
	if lit, _ := p.At(0); !lit {
		t.Error("does not begin with a pulse")
	}
	for i, got := range spans(p, 4*pulses) {
		switch i % (2 * pulses) {
		case 2*pulses - 1:
			pause.hold(t, "pause", got)
		default:
			if i%2 == 0 {
				on.hold(t, "on", got)
			} else {
				off.hold(t, "off", got)
			}
		}
	}
}

// Temporal-3, ISO 8201 as quoted in the Ontario building code, appendix
// A-3.2.4.18.
func TestTemporal3(t *testing.T) {
	row := signals(t)
	const item = "on-off-on-off-on-off"
	each := bandOf(t, first(row("ISO 8201 / temporal-3 (evacuate)", item)), second(row("ISO 8201 / temporal-3 (evacuate)", item)))
	v, tol := row("ISO 8201 / temporal-3", "final pause")
	holds(t, Temporal3, strings.Count(item, "on"), each, each, bandOf(t, v, tol))
}

// Temporal-4, fire panel encyclopaedia page and carbon monoxide alarm manuals;
// the gap and the tolerances from memory.
func TestTemporal4(t *testing.T) {
	row := signals(t)
	const signal = "temporal-4 (CO)"
	get := func(item string) band { v, tol := row(signal, item); return bandOf(t, v, tol) }
	holds(t, Temporal4, 4, get("4 pulses on"), get("off between pulses"), get("pause between groups"))
}

// The rates of IEC 60073 (anonymous pages agree, and so does memory).
func TestFlashRates(t *testing.T) {
	row := signals(t)
	hertz := regexp.MustCompile(`([0-9.]+)-([0-9.]+) Hz`)
	for item, p := range map[string]Pattern{"flash normal": Fast, "flash slow": Slow} {
		m := hertz.FindStringSubmatch(first(row("IEC 60073", item)))
		if m == nil {
			t.Fatalf("%s: no rate", item)
		}
		low, _ := strconv.ParseFloat(m[1], 64)
		high, _ := strconv.ParseFloat(m[2], 64)
		for i, s := range spans(p, 8) {
			if rate := 0.5 / s.Seconds(); rate < low || rate > high { // each span is half of a period
				t.Errorf("%s, span %d: %v: %v Hz, want %v to %v", item, i, s, rate, low, high)
			}
		}
	}
}

func first(v, _ string) string  { return v }
func second(_, v string) string { return v }

// The chirp, 150 ms once, has no outside source.
func TestPatternsWithoutEnd(t *testing.T) {
	for _, c := range []struct {
		name string
		p    Pattern
		t    time.Duration
		on   bool
		next time.Duration
	}{
		{"chirp", Chirp, 0, true, 150 * ms},
		{"chirp, its end", Chirp, 150 * ms, false, Never},
		{"chirp, long after", Chirp, time.Hour, false, Never},
		{"chirp, too early", Chirp, -time.Second, true, 150 * ms},
		{"steady", Steady, 0, true, Never},
		{"steady, a year on", Steady, 365 * 24 * time.Hour, true, Never},
		{"off", Off, time.Second, false, Never},
	} {
		if on, next := c.p.At(c.t); on != c.on || next != c.next {
			t.Errorf("%s: %v, next %v; want %v, %v", c.name, on, next, c.on, c.next)
		}
	}
}

// Between two edges nothing changes, at each edge it does, and every edge is
// announced: whoever sleeps until the next one misses nothing.
func TestPatternEdges(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, p := range []Pattern{Temporal4, Temporal3, Chirp, Fast, Slow, Steady} {
		for range 20000 {
			at := time.Duration(r.Int64N(int64(time.Hour)))
			on, next := p.At(at)
			if next <= at {
				t.Fatalf("%+v at %v: next edge at %v", p, at, next)
			}
			if next == Never {
				continue
			}
			between := at + time.Duration(r.Int64N(int64(next-at)))
			if now, edge := p.At(between); now != on || edge != next {
				t.Fatalf("%+v at %v: %v until %v, but at %v %v until %v", p, at, on, next, between, now, edge)
			}
			if now, _ := p.At(next); now == on {
				t.Fatalf("%+v: no edge at %v", p, next)
			}
		}
	}
}
