package exposure

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

var start = time.Date(2031, 5, 4, 6, 0, 0, 0, time.UTC)

func good(ppm float64) *sensors.Reading {
	return &sensors.Reading{Value: ppm, Raw: ppm, Status: sensors.Good}
}

func clipped(fullScale float64) *sensors.Reading {
	return &sensors.Reading{Value: fullScale, Raw: fullScale, Status: sensors.ClippedHigh}
}

func bad(s sensors.Status) *sensors.Reading {
	r := sensors.Bad("co", start, s, nil)
	return &r
}

// parts reads "120x150;75x50": minutes x ppm.
func parts(t testing.TB, s string) (p Profile) {
	for _, part := range strings.Split(s, ";") {
		var minutes, ppm float64
		if _, err := fmt.Sscanf(part, "%gx%g", &minutes, &ppm); err != nil {
			t.Fatalf("%q: %v", part, err)
		}
		p.Points = append(p.Points, Point{p.End, ppm})
		p.End += minutes
	}
	return p
}

// run steps a dose every second from d.at on; each says what it shows.
func run(d *Dose, from, until time.Duration, r *sensors.Reading, each func(out []sensors.Reading)) {
	out := make([]sensors.Reading, 0, 5)
	for t := from; t < until; t += time.Second {
		d.Step(start.Add(t), r)
		if each != nil {
			out = d.Readings(out[:0])
			each(out)
		}
	}
}

// A second independent implementation computed the file exactly; its first row
// is the worked example of 29 CFR 1910.1000(d)(1)(i): 81.25 ppm.
func TestVectors(t *testing.T) {
	rows := published(t, "co_dose_vectors.csv")
	if len(rows) != 17 || rows[0]["twa8_at_end_ppm"] != "81.2500" {
		t.Fatalf("%d rows, the first %v", len(rows), rows[0])
	}
	for _, row := range rows {
		p := parts(t, row["profile_min_x_ppm"])
		is := func(what string, got float64, column string, within float64) {
			t.Helper()
			if want := num(t, row[column]); !(math.Abs(got-want) <= within) {
				t.Errorf("%s: %s %v, want %v", row["case"], what, got, want)
			}
		}
		is("end", p.End, "total_min", 0)
		is("8 h average", p.TWA8h(), "twa8_at_end_ppm", 1e-4)
		is("dose", p.TWA8h()*480, "dose_ppm_min", 1e-4)
		roll, _ := p.Peak(480)
		is("rolling 8 h", roll, "roll8_peak_ppm", 1e-4)
		mean15, at15 := p.Peak(15)
		is("15 min", mean15, "stel15_peak_ppm", 1e-4)
		is("15 min at", at15, "stel15_peak_at_min", 1e-9)
		mean5, at5 := p.Peak(5)
		is("5 min", mean5, "ceil5_peak_ppm", 1e-4)
		is("5 min at", at5, "ceil5_peak_at_min", 1e-9)

		// The daemon's dose of the same, a second at a time.
		d := New("co", Opts{})
		var peak [3]float64
		see := func(out []sensors.Reading) {
			for i := range peak {
				peak[i] = max(peak[i], out[i].Value)
			}
		}
		at := 0.0
		p.each(func(ppm, minutes float64) {
			for to := at + minutes; at < to; at++ { // peaks lie on whole minutes here
				run(d, secs(at), secs(at+1), good(ppm), nil)
				d.Step(start.Add(secs(at+1)), good(ppm))
				see(d.Readings(nil))
			}
		})
		run(d, secs(at), secs(at)+1, good(0), see)
		is("dose, 5 min", peak[0], "ceil5_peak_ppm", 1e-4)
		is("dose, 15 min", peak[1], "stel15_peak_ppm", 1e-4)
		is("dose, 8 h", d.Readings(nil)[2].Value, "twa8_at_end_ppm", 1e-4)
		if cohb, want := d.Readings(nil)[3].Value, p.COHb(Moderate, StartCOHb); math.Abs(cohb-want) > 1e-6 {
			t.Errorf("%s: dose, CFK %v, want %v", row["case"], cohb, want)
		}
		if cohb, want := d.Readings(nil)[4].Value, p.Linear(HeavyB, StartCOHb); math.Abs(cohb-want) > 1e-6 {
			t.Errorf("%s: dose, linear %v, want %v", row["case"], cohb, want)
		}
	}
}

func secs(minutes float64) time.Duration {
	return time.Duration(math.Round(minutes*60)) * time.Second
}

// The rows of the same file about a cell that gives nothing for 3 minutes, and
// about one at the end of its range.
func TestVectorsOfFaults(t *testing.T) {
	rows := map[string]map[string]string{}
	for _, row := range published(t, "co_dose_vectors.csv") {
		rows[row["case"]] = row
	}
	for _, c := range []struct {
		row   string
		fault *sensors.Reading // from 30 to 33 min, between 40 and 90 ppm
		lower bool
	}{
		{"fault_hold_max", bad(sensors.NoAnswer), false},
		{"fault_hold_max", bad(sensors.ClippedLow), false},
		{"fault_hold_max", nil, false},
		{"fault_full_scale", clipped(1000), true},
	} {
		d := New("co", Opts{})
		var peak [2]float64
		atLeast := false
		see := func(out []sensors.Reading) {
			for i := range peak {
				peak[i] = max(peak[i], out[i].Value)
			}
			atLeast = out[2].AtLeast
		}
		run(d, 0, secs(30), good(40), see)
		run(d, secs(30), secs(33), c.fault, see)
		run(d, secs(33), secs(63), good(90), see)
		run(d, secs(63), secs(480)+1, good(0), see)
		row := rows[c.row]
		out := d.Readings(nil)
		for name, got := range map[string]float64{"ceil5_peak_ppm": peak[0], "stel15_peak_ppm": peak[1], "twa8_at_end_ppm": out[2].Value} {
			if want := num(t, row[name]); math.Abs(got-want) > 1e-4 {
				t.Errorf("%s: %s %v, want %v", c.row, name, got, want)
			}
		}
		if atLeast != c.lower {
			t.Errorf("%s: at least %v", c.row, atLeast)
		}
	}
}
