package main

import (
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/config"
	"charwarden/sensors/sim"
)

// dial is a number that a test turns while a simulated chip reads it.
type dial struct{ bits atomic.Uint64 }

func (d *dial) set(v float64) { d.bits.Store(math.Float64bits(v)) }
func (d *dial) now() float64  { return math.Float64frombits(d.bits.Load()) }

// turn sets a dial to a value.
func (d *dial) turn(v float64) func(*benchRig) { return func(*benchRig) { d.set(v) } }

// withScale is the reference rig with a load cell under its hopper.
func withScale(c *config.Config) {
	text := string(config.Reference())
	at := strings.Index(text, "# [[scale]]")
	end := at + strings.Index(text[at:], "\n\n")
	text = text[:at] + strings.ReplaceAll(text[at+2:end], "\n# ", "\n") + text[end:]
	full, err := config.Parse("scale.toml", []byte(text))
	if err != nil {
		panic(err)
	}
	full = withoutBoard(full)
	full.State, full.Socket, full.RunLog, full.MQTT.Broker, full.Metrics.Listen = c.State, c.Socket, c.RunLog, "", ""
	*c = *full
}

// weight on the load cell under the hopper, and how it trembles, kg.
var weight, tremor dial

// loadCell is an HX711 for the pins of the reference file.
func loadCell() (x *sim.HX711, arrange func(*benchRig)) {
	x = &sim.HX711{Weight: func(t time.Time) float64 {
		return weight.now() + tremor.now()*math.Sin(float64(t.UnixNano()))
	}, PerKilogram: 21500, Zero: 84200, Noise: 20}
	return x, func(b *benchRig) {
		weight.set(6)
		b.sim.board.AddHX711("GPIO14", "GPIO15", x)
	}
}

// drawing is an engine that draws gas at 3000 rpm from 22 s on, once the zeros
// of the pressures are taken; the dial is what its pick-up shows.
func drawing() (rpm *dial, arrange func(*benchRig)) {
	rpm = new(dial)
	return rpm, func(b *benchRig) {
		draws := new(dial)
		b.sim.board.AddPulses("GPIO17", func(time.Time) float64 { return rpm.now() / 60 })
		for i, pa := range []float64{520, 125} {
			p := b.cfg.Pressures[i]
			theADC(b).AIN[i] = func(t time.Time) float64 {
				return p.Divider * p.Law.Volts(draws.now()*pa*(1+0.02*math.Sin(float64(t.UnixMilli())/700)), b.sim.rail(t))
			}
		}
		go func() {
			time.Sleep(22 * time.Second)
			rpm.set(3000)
			draws.set(1)
		}()
	}
}

// grab takes the pin away from the daemon, again and again.
func grab(b *benchRig) {
	p, err := b.sim.board.Pin("GPIO17")
	if err != nil {
		panic(err)
	}
	go func() {
		for range 400 {
			p.Out(gpio.Low)
			time.Sleep(50 * time.Millisecond)
		}
	}()
}

// shifted is a CO cell that shows more than there is, and with noise, in ppm.
func shifted() (more, noise *dial, arrange func(*benchRig)) {
	more, noise = new(dial), new(dial)
	return more, noise, func(b *benchRig) {
		co := b.cfg.COs[0]
		theADC(b).AIN[2] = func(t time.Time) float64 {
			return co.Cell.Volts(b.sim.CO(t)+more.now()+noise.now()*math.Sin(float64(t.UnixNano())), b.sim.AirTemp(t))
		}
	}
}

func force(input int, volts float64) func(*benchRig) {
	return func(b *benchRig) { theADC(b).Force(input, volts) }
}

func free(input int) func(*benchRig) { return func(b *benchRig) { theADC(b).Free(input) } }

func sag(on bool) func(*benchRig) { return func(b *benchRig) { b.sim.sag.Store(on) } }

func hang(bus string) func(*benchRig) { return func(b *benchRig) { b.sim.board.Hang(bus, -1) } }
func heal(bus string) func(*benchRig) { return func(b *benchRig) { b.sim.board.Heal(bus) } }

func nothing(*benchRig) {}

func sensorTrials() []trial {
	cell, fitted := loadCell()
	line := func(l sim.Line) func(*benchRig) { return func(*benchRig) { cell.SetLine(l) } }
	rpm, engine := drawing()
	more, noise, shift := shifted()
	const (
		spiFaults = "wall_near_fault wall_far_fault gas_out_fault filter_in_fault filter_out_fault return_line_fault bus_stall_caution"
		i2cFaults = "suction_fault filter_drop_fault co_fault bus_stall_caution"
	)
	return []trial{
		{name: "HX711 absent", edit: withScale, begin: nothing, shows: "hopper=no_answer wall_near=good", notices: "hopper_fault"},
		{name: "HX711 mute", edit: withScale, arrange: fitted, begin: line(sim.StuckHigh), end: line(sim.Intact), shows: "hopper=no_answer", notices: "hopper_fault"},
		{name: "HX711 lying", edit: withScale, arrange: fitted, begin: line(sim.StuckLow), end: line(sim.Intact), shows: "hopper=no_answer", notices: "hopper_fault"},
		{name: "HX711 overloaded", edit: withScale, arrange: fitted, begin: weight.turn(30), end: weight.turn(6), shows: "hopper=clipped_high", notices: "hopper_fault"},
		{name: "HX711 noisy", edit: withScale, arrange: fitted, begin: tremor.turn(0.5), end: tremor.turn(0), lasts: 2 * time.Minute, shows: "hopper=good"},

		{name: "tacho absent", arrange: engine, begin: rpm.turn(0), end: rpm.turn(3000), shows: "speed=good", lasts: 2 * time.Minute},
		{name: "tacho mute", arrange: engine, begin: grab, end: nothing, lasts: 19 * time.Second, shows: "speed=no_answer", calls: "speed_fault"},
		{name: "tacho lying", arrange: engine, begin: rpm.turn(5990), end: rpm.turn(3000), shows: "speed=good", lasts: 2 * time.Minute},
		{name: "tacho noisy", arrange: engine, begin: rpm.turn(60000), end: rpm.turn(3000), shows: "speed=good"},

		{name: "CO cell absent", begin: force(2, 0), end: free(2), shows: "co=clipped_low", calls: "co_fault"},
		{name: "CO cell dead", begin: force(2, 1.65), lasts: 10 * time.Minute, shows: "co=good"}, // as clean air: only gas proves it
		{name: "CO cell clipped", begin: force(2, 3.3), shows: "co=clipped_high", calls: "co_alarm co_evacuate co_fault co_mean_5min_alarm"},
		{name: "CO cell drifting down", arrange: shift, begin: more.turn(-12), end: more.turn(0), shows: "co=out_of_range", calls: "co_fault"},
		{name: "CO cell drifting up", arrange: shift, begin: more.turn(40), end: more.turn(0), lasts: 90 * time.Second, shows: "co=good", calls: "co_caution"},
		{name: "CO cell noisy", arrange: shift, begin: noise.turn(60), end: noise.turn(0), lasts: 90 * time.Second},
		{name: "supply sag", begin: sag(true), end: sag(false), shows: "supply=good suction=out_of_range filter_drop=out_of_range co=good",
			calls: "supply_low suction_fault filter_drop_fault"},

		{name: "I2C hung 1 s", begin: hang(i2cBus), end: heal(i2cBus), lasts: time.Second, shows: "co=good suction=good|stale wall_near=good"},
		{name: "SPI hung 1 s", begin: hang(spiPort), end: heal(spiPort), lasts: time.Second, shows: "co=good wall_near=good|stale"},
		{name: "I2C hung 60 s", begin: hang(i2cBus), end: heal(i2cBus), lasts: time.Minute,
			shows: "co=stale suction=stale filter_drop=stale supply=stale air_temp=stale wall_near=good speed=good", calls: i2cFaults},
		{name: "SPI hung 60 s", begin: hang(spiPort), end: heal(spiPort), lasts: time.Minute,
			shows: "wall_near=stale gas_out=stale filter_in=stale co=good speed=good", calls: spiFaults},
		{name: "I2C hung for ever", begin: hang(i2cBus), lasts: 10 * time.Minute, shows: "co=stale suction=stale supply=stale wall_near=good", calls: i2cFaults},
		{name: "SPI hung for ever", begin: hang(spiPort), lasts: 10 * time.Minute, shows: "wall_near=stale gas_out=stale co=good", calls: spiFaults},
	}
}

// The sensors that are no chip of a bus, what feeds them all, and the buses
// themselves.
func TestSensorFaults(t *testing.T) { all(t, sensorTrials()) }
