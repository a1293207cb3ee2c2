package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"charwarden/sensors"
)

// words show numbers and times as the reader wants them.
type words struct {
	units Units
	zone  *time.Location
}

// measure is how a quantity is shown: stored*factor + zero.
type measure struct {
	name         string
	factor, zero float64
	digits       int // behind the point, where no uncertainty says it
}

// shown is v as a number for the reader.
func (m measure) shown(v float64) float64 { return v*m.factor + m.zero }

// apart is the measure of a difference of two such values.
func (m measure) apart() measure { return measure{m.name, m.factor, 0, m.digits} }

func (m measure) unit() string {
	if m.name == "" {
		return ""
	}
	return " " + m.name
}

// text is v with its unit.
func (m measure) text(v float64) string {
	if math.IsNaN(v) {
		return "no value"
	}
	return fixed(m.shown(v), m.digits) + m.unit()
}

// about is v with its half width, both to the width's first digit or two: "4.6
// kg, give or take 0.4". Without a half width it is text.
func (m measure) about(v, half float64) string { return m.aboutOf(v, half, "") }

// aboutOf is about with what it is of: "4.6 kg of charcoal, give or take 0.4".
func (m measure) aboutOf(v, half float64, of string) string {
	if of != "" {
		of = " of " + of
	}
	if number, width := m.pair(v, half); width != "" {
		return number + m.unit() + of + ", give or take " + width
	}
	return m.text(v) + of
}

// brief is about in a table: "4.6 ± 0.4 kg".
func (m measure) brief(v, half float64) string {
	if number, width := m.pair(v, half); width != "" {
		return number + " ± " + width + m.unit()
	}
	return m.text(v)
}

func (m measure) pair(v, half float64) (number, width string) {
	half *= math.Abs(m.factor)
	if !(half > 0) || math.IsInf(half, 0) || math.IsNaN(v) {
		return "", ""
	}
	digit := math.Floor(math.Log10(half))
	if half/math.Pow(10, digit) < 2 {
		digit-- // a leading 1 gets another digit
	}
	grain := math.Pow(10, digit)
	half = math.Round(half/grain) * grain
	n := max(0, int(-digit))
	return fixed(math.Round(m.shown(v)/grain)*grain, n), fixed(half, n)
}

// fixed is v with so many digits, and never -0.
func fixed(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// chosen is u, or the unit that is stored.
func chosen(u Unit, name string, digits int) measure {
	if u == (Unit{}) || u.Factor == 0 {
		return measure{name, 1, 0, digits}
	}
	if u.Factor != 1 { // as fine as the stored one
		digits = max(0, digits+int(math.Round(-math.Log10(u.Factor))))
	}
	return measure{u.Name, u.Factor, u.Zero, digits}
}

// measure of a quantity.
func (w words) measure(q sensors.Quantity) measure {
	switch q {
	case sensors.Temperature:
		return chosen(w.units.Temperature, "°C", 0)
	case sensors.Difference:
		m := chosen(w.units.Temperature, "K", 0).apart()
		if m.factor == 1 {
			m.name = "K"
		}
		return m
	case sensors.Pressure:
		return chosen(w.units.Pressure, "Pa", 0)
	case sensors.Leak:
		m := chosen(w.units.Pressure, "Pa", 0)
		m.name += "/min"
		return m
	case sensors.Mass:
		return chosen(w.units.Mass, "kg", 2)
	case sensors.MassFlow:
		m := chosen(w.units.Mass, "kg", 2)
		m.name += "/h"
		return m
	case sensors.Humidity:
		return measure{"%", 100, 0, 0}
	case sensors.CO, sensors.Mean:
		return measure{"ppm", 1, 0, 0}
	case sensors.COHb:
		return measure{"%", 1, 0, 1}
	case sensors.Loading:
		return measure{"%", 1, 0, 0}
	case sensors.GasFlow:
		return measure{"Nm³/h", 1, 0, 1}
	case sensors.HeatingValue:
		return measure{"MJ/Nm³", 1, 0, 2}
	case sensors.Power:
		return measure{"kW", 1e-3, 0, 2}
	case sensors.Ratio:
		return measure{"", 1, 0, 2}
	case sensors.Thickness:
		return measure{"mm", 1, 0, 3}
	case sensors.Voltage:
		return measure{"V", 1, 0, 2}
	case sensors.Age:
		return measure{"h", 1. / 3600, 0, 1}
	}
	return measure{q.Unit(), 1, 0, 0}
}

// span is a length of time: "3 h 05 min", "12 min", "40 s".
func span(ms int64) string {
	s := (ms + 500) / 1000
	switch {
	case s < 0:
		return "−" + span(-ms)
	case s < 100:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d min", (s+30)/60)
	case s < 48*3600:
		m := (s + 30) / 60
		return fmt.Sprintf("%d h %02d min", m/60, m%60)
	}
	h := (s + 1800) / 3600
	return fmt.Sprintf("%d days %d h", h/24, h%24)
}

// hm is the time of day at ms, of a run.
func (r *run) hm(ms int64) string { return r.wall(ms).Format("15:04") }

// hms is it with seconds.
func (r *run) hms(ms int64) string {
	t := r.wall(ms)
	if day := r.wall(r.from); t.YearDay() != day.YearDay() || t.Year() != day.Year() {
		return t.Format("Mon 15:04:05")
	}
	return t.Format("15:04:05")
}

// count is "1 alarm", "3 alarms".
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	if s, ok := strings.CutSuffix(one, "y"); ok && !strings.HasSuffix(s, "a") {
		return fmt.Sprintf("%d %sies", n, s)
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// listed is "a", "a and b", "a, b and c".
func listed(words []string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
}

// plain is a channel's or alarm's name for a sentence: its underscores are gaps.
func plain(name string) string { return strings.ReplaceAll(name, "_", " ") }

// upper is s with a capital first.
func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
