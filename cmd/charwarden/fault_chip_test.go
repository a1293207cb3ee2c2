package main

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors/sim"
)

// Where the reference rig has its chips.
const (
	i2cBus, spiPort          = "/dev/i2c-1", "/dev/spidev0.0"
	adcAddr, inaAddr, bmAddr = 0x48, 0x40, 0x76
)

func near(b *benchRig) *sim.MAX31855  { return b.sim.couples["wall_near"] }
func theADC(b *benchRig) *sim.ADS1115 { return b.sim.adcs["adc"] }

func couple(c sim.Couple) func(*benchRig) { return func(b *benchRig) { near(b).SetCouple(c) } }
func line(l sim.Line) func(*benchRig)     { return func(b *benchRig) { near(b).SetLine(l) } }
func power(on bool) func(*benchRig)       { return func(b *benchRig) { near(b).Power(on, time.Now()) } }

func nack(addr uint16, n int) func(*benchRig) {
	return func(b *benchRig) { b.sim.board.NACK(i2cBus, addr, n) }
}

func flip(bus string, p float64) func(*benchRig) {
	return func(b *benchRig) { b.sim.board.Flip(bus, p) }
}

func slowADC(e float64) func(*benchRig) {
	return func(b *benchRig) { theADC(b).SetClockError(e) }
}

// hot has walls and gas as in a running rig. Each rises and falls a little, as
// all things do.
func hot(b *benchRig) {
	for channel, at := range map[string]float64{"wall_near": 420, "wall_far": 400, "gas_out": 330} {
		b.sim.couples[channel].Hot = func(now time.Time) float64 { return at + 3*math.Sin(float64(now.UnixMilli())/2e3) }
	}
}

// leak touches ground for a second in every two.
func leak(b *benchRig) {
	go func() {
		for range 5 {
			near(b).SetCouple(sim.ToGND)
			time.Sleep(time.Second)
			near(b).SetCouple(sim.Whole)
			time.Sleep(time.Second)
		}
	}()
}

// instead puts a chip on the I2C bus that answers well until it is spoilt.
func instead(addr uint16, chip func(*benchRig) sim.Chip) (arrange func(*benchRig), spoil func(how func([]byte)) func(*benchRig)) {
	s := &spoilt{}
	arrange = func(b *benchRig) {
		s.Chip = chip(b)
		b.sim.board.AddI2C(i2cBus, addr, s)
	}
	return arrange, func(how func([]byte)) func(*benchRig) { return func(*benchRig) { s.spoil(how) } }
}

// jitter spoils one answer in three.
func jitter() func([]byte) {
	r := rand.New(rand.NewPCG(4, 4))
	return func(b []byte) {
		if len(b) > 0 && r.IntN(3) == 0 {
			b[r.IntN(len(b))] ^= byte(1 + r.IntN(255))
		}
	}
}

func chipTrials() []trial {
	ina, spoilINA := instead(inaAddr, func(b *benchRig) sim.Chip { return &sim.INA219{Bus: b.sim.rail} })
	air, spoilAir := instead(bmAddr, func(b *benchRig) sim.Chip {
		return &sim.BMx280{Temperature: b.sim.AirTemp, Pressure: b.sim.AirPressure, Humidity: b.sim.AirHumidity}
	})
	adc, spoilADC := instead(adcAddr, func(b *benchRig) sim.Chip { return theADC(b) })
	const (
		analogFaults = "suction_fault filter_drop_fault co_fault"
		airFaults    = "air_temp_fault air_pressure_fault air_humidity_fault"
	)
	return []trial{
		{name: "MAX31855 absent", begin: power(false), end: power(true), shows: "wall_near=no_answer wall_far=good", calls: "wall_near_fault"},
		{name: "MAX31855 mute", begin: line(sim.StuckHigh), end: line(sim.Intact), shows: "wall_near=no_answer wall_far=good", calls: "wall_near_fault"},
		{name: "MAX31855 lying", arrange: hot, begin: couple(sim.Shorted), end: couple(sim.Whole), lasts: 90 * time.Second,
			shows: "wall_near=out_of_range", calls: "wall_near_fault"},
		{name: "MAX31855 noisy", begin: flip(spiPort, 0.2), end: flip(spiPort, 0), lasts: 2 * time.Minute},
		{name: "couple open", begin: couple(sim.Open), end: couple(sim.Whole), shows: "wall_near=open", calls: "wall_near_fault"},
		{name: "couple reversed", arrange: hot, begin: couple(sim.Reversed), end: couple(sim.Whole), shows: "wall_near=clipped_low", calls: "wall_near_fault"},
		{name: "couple to ground", begin: couple(sim.ToGND), end: couple(sim.Whole), shows: "wall_near=short_gnd", calls: "wall_near_fault"},
		{name: "couple to supply", begin: couple(sim.ToVCC), end: couple(sim.Whole), shows: "wall_near=short_vcc", calls: "wall_near_fault"},
		{name: "couple leaking", begin: leak, end: couple(sim.Whole), lasts: 10 * time.Second, calls: "wall_near_fault"}, // though each second one is good

		{name: "ADS1115 absent", begin: nack(adcAddr, -1), end: nack(adcAddr, 0),
			shows: "co=no_answer suction=no_answer filter_drop=no_answer supply=good", calls: analogFaults},
		{name: "ADS1115 mute", begin: slowADC(3), end: slowADC(0), shows: "co=no_answer suction=no_answer filter_drop=no_answer", calls: analogFaults},
		{name: "ADS1115 zeros", arrange: adc, begin: spoilADC(filledWith(0)), end: spoilADC(nil),
			shows: "co=no_answer suction=no_answer filter_drop=no_answer", calls: analogFaults},
		{name: "ADS1115 lying", arrange: adc, begin: spoilADC(filledWith(0xff)), end: spoilADC(nil),
			shows: "co=checksum suction=checksum filter_drop=checksum", calls: analogFaults},
		{name: "ADS1115 noisy", arrange: adc, begin: spoilADC(jitter()), end: spoilADC(nil), lasts: 2 * time.Minute, may: analogFaults},
		{name: "ADS1115 clock slow", begin: slowADC(0.1), lasts: 3 * time.Minute, shows: "co=good suction=good filter_drop=good"},
		{name: "ADS1115 clock fast", begin: slowADC(-0.1), lasts: 3 * time.Minute, shows: "co=good suction=good filter_drop=good"},

		{name: "INA219 absent", begin: nack(inaAddr, -1), end: nack(inaAddr, 0), shows: "supply=no_answer suction=good", notices: "supply_fault"},
		{name: "INA219 mute", arrange: ina, begin: spoilINA(filledWith(0xff)), end: spoilINA(nil), shows: "supply=no_answer suction=good", notices: "supply_fault"},
		{name: "INA219 lying", arrange: ina, begin: spoilINA(filledWith(0)), end: spoilINA(nil),
			shows: "supply=good suction=out_of_range filter_drop=out_of_range", calls: "supply_low suction_fault filter_drop_fault"},
		{name: "INA219 noisy", arrange: ina, begin: spoilINA(jitter()), end: spoilINA(nil), lasts: 2 * time.Minute, shows: "suction=good"},

		{name: "BMx280 absent", begin: nack(bmAddr, -1), end: nack(bmAddr, 0),
			shows: "air_temp=no_answer air_pressure=no_answer air_humidity=no_answer co=good", notices: airFaults},
		{name: "BMx280 mute", arrange: air, begin: spoilAir(filledWith(0xff)), end: spoilAir(nil),
			shows: "air_temp=no_answer air_pressure=no_answer air_humidity=no_answer co=good", notices: airFaults},
		{name: "BMx280 lying", arrange: air, begin: spoilAir(filledWith(0)), end: spoilAir(nil),
			shows: "air_temp=out_of_range|no_answer air_pressure=out_of_range|no_answer air_humidity=out_of_range|no_answer co=good", notices: airFaults},
		{name: "BMx280 noisy", arrange: air, begin: spoilAir(jitter()), end: spoilAir(nil), lasts: 2 * time.Minute, shows: "co=good"},
	}
}

// Each chip of the rig absent, mute, lying and noisy, as far as it can be: only
// the alarms of what is gone call, and it heals.
func TestChipFaults(t *testing.T) { all(t, chipTrials()) }
