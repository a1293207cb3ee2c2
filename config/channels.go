package config

import (
	"math"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/its90"
)

// maxEvery lets three tries fit into the 3 s after which no reading is live.
const maxEvery = time.Second

// maxRate is the fastest change that is believed unless the file says
// otherwise, in unit/s: judgement, no source. A pressure can jump in
// milliseconds (a lid, a backfire), a rise of CO is never a fault.
var maxRate = map[sensors.Quantity]float64{
	sensors.Temperature: 50,
	sensors.Speed:       10000,
}

// channel reads the keys that all sensors of one channel share.
func (t *table) channel(q sensors.Quantity, every, least time.Duration) sensors.Channel {
	t.require("channel")
	d := dimensionOf(q)
	ch := sensors.Channel{Name: t.identifier("channel", "_"), Quantity: q, MaxRate: maxRate[q]}
	ch.Period = t.span("every", every, least, maxEvery)
	ch.Offset, _ = t.measure("offset", d.difference, d)
	if q == sensors.CO {
		ch.Gain = t.number("gain", 1, 0.5, 2)
		if math.Abs(ch.Offset) > 10 {
			t.fail("offset", "%s: too much: zero the cell anew in clean air (allowed: -10 ppm to 10 ppm)", written(t.values["offset"]))
		}
		return ch
	}
	ch.Gain = t.number("gain", 1, 0.1, 10)
	if r, ok := t.measure("max_rate", d.rate, d); ok && r <= 0 {
		t.fail("max_rate", "%s: more than 0 is wanted", written(t.values["max_rate"]))
	} else if ok {
		ch.MaxRate = r
	}
	if q == sensors.Temperature || q == sensors.Pressure {
		ch.FrozenAfter = t.span("frozen_after", 0, 10*time.Second, time.Hour)
	}
	return ch
}

// couple is a thermocouple chip on an SPI port.
type couple struct {
	t             *table
	channel, port string
	pin           string
	own           bool // on the port's own select
}

func (f *file) thermocouples(c *Config) {
	for _, t := range f.tables("thermocouple") {
		t.require("type", "port")
		// A MAX31855 takes up to 100 ms for a conversion: read faster, it
		// repeats itself.
		ch := t.channel(sensors.Temperature, 250*time.Millisecond, 200*time.Millisecond)
		k := Thermocouple{Channel: ch.Name, Port: t.text("port", ""), Every: ch.Period}
		low, high := -infinite, infinite
		if word := t.text("type", ""); word != "" {
			var err error
			if k.Type, err = its90.ParseType(word); err != nil {
				t.fail("type", "%s", strings.TrimPrefix(err.Error(), "its90: "))
			} else {
				low, high = k.Type.Range()
			}
		}
		if k.Port != "" && !portName.MatchString(k.Port) {
			t.fail("port", "%q: no SPI port (allowed: \"/dev/spidev0.0\" and the like)", k.Port)
		}
		k.Select = t.pin("select")
		ch.HotWith = t.list("hot_with", "wall_far")
		for _, other := range ch.HotWith {
			if other == ch.Name {
				t.fail("hot_with", "%q: that is this channel itself: name others", other)
			}
			t.refer("hot_with", other, sensors.Temperature)
		}
		cause := ""
		if bus, _, found := strings.Cut(k.Port, "."); found {
			cause = "the SPI bus " + bus
		}
		added := t.add("channel", ch, low, high, cause)
		role := t.watch(added, "wall", "gas_out", "filter_in", "filter_out", "return")
		added.steel = t.steel(role)
		switch role {
		case "wall":
			added.rules = append(added.rules, alarms.WallRules(ch.Name, added.steel)...)
		case "gas_out":
			added.rules = append(added.rules, alarms.GasOutRule(ch.Name))
		case "filter_in":
			added.rules = append(added.rules, alarms.GasRules(ch.Name)...)
		case "return":
			added.rules = append(added.rules, alarms.ReturnColdRule(ch.Name))
		}
		t.done()
		f.couples = append(f.couples, couple{t, ch.Name, k.Port, k.Select, t.values["select"] == nil || t.values["select"] == ""})
		c.Thermocouples = append(c.Thermocouples, k)
	}
}

// selects checks that one transfer wakes one chip: a port's own select line
// goes low in every transfer on that port, whatever GPIO goes low beside it.
func (f *file) selects() {
	own := map[string]*couple{}
	for i := range f.couples {
		k := &f.couples[i]
		if k.port == "" || !k.own {
			continue
		}
		if first := own[k.port]; first != nil {
			k.t.fail("port", "%s's own select already serves %s (line %d), and both chips would answer at once: give one of them a select = \"GPIO...\" on a port whose own select is free",
				k.port, first.channel, first.t.line("channel"))
			continue
		}
		own[k.port] = k
	}
	for i := range f.couples {
		k := &f.couples[i]
		if first := own[k.port]; k.pin != "" && first != nil {
			k.t.fail("select", "%s's own select goes low in every transfer, so %s (line %d), which sits on it, would answer together with this chip: give %s a select too, or move this chip to a port whose own select is free",
				k.port, first.channel, first.t.line("channel"), first.channel)
		}
	}
}

// pin returns a GPIO by name and claims it.
func (t *table) pin(key string) string {
	s := t.text(key, "")
	if s == "" {
		return ""
	}
	if !pinName.MatchString(s) {
		t.fail(key, "%q: no pin (allowed: \"GPIO5\" and the like, as on the board's drawing)", s)
		return ""
	}
	t.claim(key, "pin", s)
	return s
}

// maxPulses a second is what sensors/tacho has room for.
const maxPulses = 4000

func (f *file) tachos(c *Config) {
	for _, t := range f.tables("tacho") {
		t.require("pin", "pulses_per_rev", "max")
		ch := t.channel(sensors.Speed, 500*time.Millisecond, 100*time.Millisecond)
		k := Tacho{Channel: ch.Name, Pin: t.pin("pin"), Every: ch.Period}
		k.PulsesPerRev = t.number("pulses_per_rev", 1, 0.5, 60)
		var ok bool
		switch k.Max, ok = t.measure("max", speed.parse, speed); {
		case ok && !(k.Max >= 200 && k.Max <= 20000):
			t.fail("max", "%s: out of range (allowed: 200 rpm to 20000 rpm)", written(t.values["max"]))
		case k.Max*k.PulsesPerRev/60 > maxPulses:
			t.fail("pulses_per_rev", "%v at %v rpm are more than %v pulses a second, which the board cannot count", k.PulsesPerRev, k.Max, maxPulses)
		}
		f.roles["speed"] = append(f.roles["speed"], t.add("channel", ch, 0, k.Max, ""))
		t.done()
		c.Tachos = append(c.Tachos, k)
	}
}

func (f *file) ambients(c *Config) {
	for _, t := range f.tables("ambient") {
		t.require("bus", "address")
		k := Ambient{Every: t.span("every", maxEvery, 100*time.Millisecond, maxEvery)}
		k.Bus, k.Address = t.i2c(0x76, 0x77)
		place := func(key string, q sensors.Quantity, low, high float64) string {
			ch := sensors.Channel{Name: t.identifier(key, "_"), Quantity: q, Period: k.Every, Gain: 1}
			t.add(key, ch, low, high, wire(k.Bus))
			return ch.Name
		}
		// BMP280 and BME280: -40 to 85 degC, 300 to 1100 hPa, 0 to 100 %RH.
		k.Temperature = place("temperature", sensors.Temperature, -40, 85)
		k.Pressure = place("pressure", sensors.Pressure, 30e3, 110e3)
		k.Humidity = place("humidity", sensors.Humidity, 0, 1)
		if k.Temperature+k.Pressure+k.Humidity == "" && !t.broken {
			t.fail("temperature", "missing: name at least one channel (allowed: temperature, pressure, humidity)")
		}
		t.done()
		c.Ambients = append(c.Ambients, k)
	}
}

func (f *file) supplies(c *Config) {
	for _, t := range f.tables("supply") {
		t.require("bus", "address")
		ch := t.channel(sensors.Voltage, 500*time.Millisecond, 50*time.Millisecond)
		k := Supply{Channel: ch.Name, Every: ch.Period}
		k.Bus, k.Address = t.i2c(0x40, 0x4f)
		added := t.add("channel", ch, 0, 26, wire(k.Bus)) // INA219: the bus voltage ends at 26 V
		added.rules = append(added.rules, alarms.SupplyRules(ch.Name)...)
		t.done()
		c.Supplies = append(c.Supplies, k)
	}
}
