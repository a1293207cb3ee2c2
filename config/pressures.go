package config

import (
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/membrane"
)

func (f *file) pressures(c *Config) {
	for _, t := range f.tables("pressure") {
		t.require("sensor", "adc", "input")
		ch := t.channel(sensors.Pressure, 200*time.Millisecond, 50*time.Millisecond)
		p := Pressure{Channel: ch.Name, Every: ch.Period, Law: t.law()}
		var adc ADC
		adc, p.Input = t.analog()
		p.ADC = adc.Name
		p.Divider = t.number("divider", 1, 0.01, 1)
		p.Supply = t.text("supply", "")
		t.refer("supply", p.Supply, sensors.Voltage)
		if p.Law.Ratiometric && p.Supply == "" {
			t.warn("supply", "missing: the output of %s follows its supply, which is now taken as %v V: name the [[supply]] channel that measures it", p.Law.Name, p.Law.NominalV)
		}
		if t.word("zero", "auto", "none") == "auto" {
			ch.Zero = &sensors.ZeroBand{MaxPa: p.Law.MaxZeroPa(), UnzeroedPa: p.Law.UnzeroedPa, ZeroedPa: p.Law.ZeroedPa}
		}
		added := t.add("channel", ch, p.Law.LoPa, p.Law.HiPa, wire(adc.Bus))
		if ch.Zero != nil {
			added.rules = append(added.rules, alarms.UnzeroedRule(ch.Name))
		}
		switch role := t.watch(added, "filter_drop", "suction"); role {
		case "filter_drop":
			c.Roles.CleanDrop = t.clean(added, 1)
			added.rules = append(added.rules, alarms.FilterDropRules(ch.Name)...)
		case "suction":
			if c.Roles.CleanSuction = t.clean(added, filter.MinSuction); c.Roles.CleanSuction > 0 {
				added.rules = append(added.rules, alarms.SuctionRules(ch.Name, c.Roles.CleanSuction)...)
			} else {
				t.warn("clean", "missing: %s has no limits before it says what is usual with a clean filter", ch.Name)
			}
		default:
			if t.has("clean") {
				t.fail("clean", "only watch = \"filter_drop\" and \"suction\" have it")
			}
		}
		if !t.broken {
			supply := p.Law.MaxV
			most := max(p.Law.Volts(p.Law.LoPa, supply), p.Law.Volts(p.Law.HiPa, supply))
			t.bears(p.Input, most*p.Divider, adc.VDD, "divider")
		}
		t.done()
		c.Pressures = append(c.Pressures, p)
	}
}

// bears reports a voltage that the ADC's pin cannot take: it would clip there
// and may destroy the chip.
func (t *table) bears(in ads1115.Input, volts, vdd float64, key string) {
	least := 0.0
	if in > ads1115.AIN3 {
		least = -vdd // the difference of two pins
	}
	if volts < least || volts > vdd {
		t.fail(key, "the sensor would put %.2f V on %v, which takes %v V to %v V (the ADC's vdd): fit a divider, or another amplifier", volts, in, least, vdd)
	}
}

// law returns the straight line from volts to Pa. A law that cannot be read is
// the whole number line, so that no limit is reported beside it.
func (t *table) law() membrane.Law {
	unknown := membrane.Law{Slope: 1, LoPa: -infinite, HiPa: infinite}
	word := t.text("sensor", "")
	if word == "" {
		return unknown
	}
	if word == "linear" {
		t.require("at")
		return t.linear(unknown)
	}
	if t.has("at") {
		t.fail("at", "only sensor = \"linear\" has it")
	}
	l, err := membrane.ByName(word)
	if err != nil {
		known := []string{"linear"}
		for _, l := range membrane.Laws() {
			known = append(known, l.Name)
		}
		t.fail("sensor", "%q: no sensor that is known here%s%s", word, didYouMean(word, known), allowed(known))
		return unknown
	}
	return l
}

// linear reads at = [["0 Pa", "0.5 V"], ["2 kPa", "4.5 V"]].
func (t *table) linear(unknown membrane.Law) membrane.Law {
	v, ok := t.value("at")
	if !ok {
		return unknown
	}
	var x [2][2]float64
	points, _ := v.([]any)
	for i, point := range points {
		pair, _ := point.([]any)
		for j, d := range []dimension{pressure, voltage} {
			if i > 1 || len(pair) != 2 || len(points) != 2 {
				points = nil
				break
			}
			s, _ := pair[j].(string)
			n, err := d.parse(s)
			if err != nil {
				t.fail("at", "%v", err)
				return unknown
			}
			x[i][j] = n
		}
	}
	if len(points) == 0 {
		t.fail("at", "two points are wanted: write [[\"0 Pa\", \"0.5 V\"], [\"2 kPa\", \"4.5 V\"]]")
		return unknown
	}
	l, err := membrane.Linear(x[0][0], x[0][1], x[1][0], x[1][1])
	if err != nil || math.IsInf(l.Slope, 0) {
		t.fail("at", "two different points are wanted")
		return unknown
	}
	return l
}
