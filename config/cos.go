package config

import (
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/cocell"
)

// tableWords are the names of the temperature tables, and "none".
var tableWords = []string{"none", "TGS5042", "TGS5141", "CN0396", "SPEC"}

func (f *file) cos(c *Config) {
	for _, t := range f.tables("co") {
		t.require("adc", "input", "sensitivity", "transimpedance", "clean_air", "full_scale", "temperature_table")
		ch := t.channel(sensors.CO, 500*time.Millisecond, 50*time.Millisecond)
		if longest := longestOf(ch.Name); len(longest) > 32 {
			t.fail("channel", "%q: too long: %s is a channel too (allowed: %d letters)", ch.Name, longest, 32-len(longest)+len(ch.Name))
			ch.Name = ""
		}
		if ch.Gain < 1 || ch.Offset < 0 {
			t.warn("channel", "%s shows less carbon monoxide than the cell measures (gain %v, offset %v ppm)", ch.Name, ch.Gain, ch.Offset)
		}
		k := CO{Channel: ch.Name, Every: ch.Period}
		var adc ADC
		adc, k.Input = t.analog()
		k.ADC = adc.Name
		k.Cell = t.cell(k.Input, adc.VDD)
		k.Temperature = t.text("temperature", "")
		t.refer("temperature", k.Temperature, sensors.Temperature)
		if len(k.Cell.Table) > 0 && k.Temperature == "" {
			t.fail("temperature", "missing: a temperature table needs the channel of the air at the cell, or temperature_table = \"none\"")
		}
		k.ZeroDate, k.BumpDate = t.date("zero_date"), t.date("bump_date")
		zeroDays, bumpDays := t.whole("zero_days", 90, 1, 365), t.whole("bump_days", 1, 1, 90)
		k.StuckAfter = t.span("stuck_after", 0, 10*time.Second, time.Hour)
		full := k.Cell.FullScalePPM
		if full == 0 {
			full = infinite
		}
		added := t.add("channel", ch, 0, full, wire(adc.Bus))
		added.rules = append(added.rules, alarms.CORules(ch.Name)...)
		t.doses(added)
		t.ages(ch.Name, zeroDays, bumpDays)
		t.done()
		c.COs = append(c.COs, k)
	}
}

// cell reads cell and amplifier. The amplifier is taken to end where the ADC
// does; between two inputs, half of that to either side.
func (t *table) cell(in ads1115.Input, vdd float64) cocell.Cell {
	k := cocell.Cell{MaxV: vdd}
	if in > ads1115.AIN3 {
		k.MinV, k.MaxV = -vdd/2, vdd/2
	}
	positive := func(key string, d dimension, lo, hi float64, bounds string) float64 {
		v, ok := t.measure(key, d.parse, d)
		if ok && !(v >= lo && v <= hi) {
			t.fail(key, "%s: out of range (allowed: %s)", written(t.values[key]), bounds)
			return 0
		}
		return v
	}
	k.NanoampPerPPM = positive("sensitivity", sensitivity, 1e-10, 1e-6, "0.1 nA/ppm to 1000 nA/ppm") * 1e9
	k.Ohms = positive("transimpedance", resistance, 1e3, 1e8, "1 kohm to 100 Mohm")
	k.FullScalePPM = positive("full_scale", concentration, 100, 20000, "100 ppm to 20000 ppm")
	k.CleanAirV, _ = t.volts("clean_air", 0, k.MinV, max(k.MaxV, 0))
	k.Inverting = t.flag("inverting", false)
	if word := t.word("temperature_table", tableWords...); word != "none" {
		points, err := cocell.Table(word)
		if err != nil {
			t.fail("temperature_table", "%v", err)
		}
		k.Table = points
	}
	if vdd == 0 || t.broken {
		return k
	}
	if err := k.Validate(); err != nil {
		for line := range strings.Lines(err.Error()) {
			line = strings.TrimSpace(strings.TrimPrefix(line, "cocell: "))
			key := "full_scale"
			if strings.HasPrefix(line, "clean air") {
				key = "clean_air"
			}
			t.fail(key, "%s", line)
		}
	}
	return k
}
