package main

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// simRig is the rig of `demo`: simulated chips on a simulated board, where the
// configuration says they are, moved by the physical model.
type simRig struct {
	*sim.Rig
	cfg     *config.Config
	clock   sensors.Clock
	board   *sim.Board
	couples map[string]*sim.MAX31855
	adcs    map[string]*sim.ADS1115
	broker  *demoBroker
	sag     atomic.Bool // of the sensors' supply
}

// rail is the 5 V supply of the sensors: a regulator behind the battery, so
// that it follows the battery only a little, until it sags.
func (s *simRig) rail(t time.Time) float64 {
	v := 5 + 0.01*(s.Supply(t)-12.6)
	if s.sag.Load() {
		v -= 0.6
	}
	return v
}

func newSimRig(cfg *config.Config, clock sensors.Clock, seed uint64) (*simRig, error) {
	s := &simRig{
		Rig: sim.NewRig(clock.Now(), sim.DefaultPlan(), seed), cfg: cfg, clock: clock, board: sim.NewBoard(clock, seed),
		couples: make(map[string]*sim.MAX31855), adcs: make(map[string]*sim.ADS1115),
	}
	truth := map[string]func(time.Time) float64{
		"wall_near": s.WallNear, "wall_far": s.WallFar, "gas_out": s.GasOut, "filter_in": s.FilterIn,
		"filter_out": s.FilterOut, "return_line": s.ReturnLine, "suction": s.Suction, "filter_drop": s.FilterDrop,
	}
	for _, t := range cfg.Thermocouples {
		f := truth[t.Channel]
		if f == nil {
			return nil, fmt.Errorf("demo: the simulated rig has no place %s", t.Channel)
		}
		c := &sim.MAX31855{Type: t.Type, Hot: f, Cold: s.AirTemp, Noise: 0.3}
		s.couples[t.Channel] = c
		s.board.AddMAX31855(t.Port, t.Select, c)
	}
	for _, a := range cfg.ADCs {
		c := &sim.ADS1115{Noise: 0.0003}
		for _, p := range cfg.Pressures {
			if f := truth[p.Channel]; p.ADC == a.Name && f != nil {
				c.AIN[p.Input] = func(t time.Time) float64 { return p.Divider * p.Law.Volts(f(t), s.rail(t)) }
			}
		}
		for _, co := range cfg.COs {
			if co.ADC == a.Name {
				c.AIN[co.Input] = func(t time.Time) float64 { return co.Cell.Volts(s.CO(t), s.AirTemp(t)) }
			}
		}
		s.adcs[a.Name] = c
		s.board.AddI2C(a.Bus, a.Address, c)
	}
	for _, v := range cfg.Supplies {
		s.board.AddI2C(v.Bus, v.Address, &sim.INA219{Bus: s.rail})
	}
	for _, a := range cfg.Ambients {
		s.board.AddI2C(a.Bus, a.Address, hasty{&sim.BMx280{Temperature: s.AirTemp, Pressure: s.AirPressure, Humidity: s.AirHumidity}})
	}
	for _, t := range cfg.Tachos {
		s.board.AddPulses(t.Pin, func(at time.Time) float64 { return s.Speed(at) / 60 * t.PulsesPerRev })
	}
	return s, nil
}

// hasty is a chip that is read later than the clock says: periph's driver waits
// for the air sensor's measurement in real time, during which a fast clock
// stands still.
type hasty struct{ sim.Chip }

func (h hasty) Tx(now time.Time, w, r []byte) error {
	if len(r) > 0 {
		now = now.Add(50 * time.Millisecond)
	}
	return h.Chip.Tx(now, w, r)
}

// wireFault is a fault of wires, buses and the world; those of the rig itself
// are the model's.
type wireFault struct {
	name, means string
	do          func(context.Context, *simRig)
}

// outage is how long a bus or the broker is away, in the rig's time.
const outage = 4 * time.Minute

func wireFaults() []wireFault {
	bus := func(s *simRig) string { return s.cfg.ADCs[0].Bus }
	port := func(s *simRig) string { return s.cfg.Thermocouples[0].Port }
	for4min := func(begin, end func(*simRig)) func(context.Context, *simRig) {
		return func(ctx context.Context, s *simRig) {
			begin(s)
			s.clock.Sleep(ctx, outage)
			end(s)
		}
	}
	couple := func(c sim.Couple) func(context.Context, *simRig) {
		return func(_ context.Context, s *simRig) { s.couples["wall_near"].SetCouple(c) }
	}
	return []wireFault{
		{"couple-open", "the near wall's thermocouple breaks", couple(sim.Open)},
		{"couple-short", "the near wall's thermocouple is shorted to itself; the chip flags nothing", couple(sim.Shorted)},
		{"i2c-hang", "the I2C bus hangs for 4 minutes", for4min(
			func(s *simRig) { s.board.Hang(bus(s), -1) }, func(s *simRig) { s.board.Heal(bus(s)) })},
		{"spi-hang", "the SPI bus hangs for 4 minutes", for4min(
			func(s *simRig) { s.board.Hang(port(s), -1) }, func(s *simRig) { s.board.Heal(port(s)) })},
		{"adc-absent", "the ADC loses its power for 4 minutes", for4min(
			func(s *simRig) { s.board.NACK(bus(s), s.cfg.ADCs[0].Address, -1) }, func(s *simRig) { s.board.Heal(bus(s)) })},
		{"adc-slow", "the ADC's clock runs 9 % slow", func(_ context.Context, s *simRig) {
			s.adcs[s.cfg.ADCs[0].Name].SetClockError(0.09)
		}},
		{"supply-sag", "the sensors' supply sags by 0.6 V", func(_ context.Context, s *simRig) { s.sag.Store(true) }},
		{"co-clip", "the CO cell's output goes to the rail, as in neat gas", func(_ context.Context, s *simRig) {
			co := s.cfg.COs[0]
			s.adcs[co.ADC].Force(int(co.Input), 3.3)
		}},
		{"bit-flips", "one transfer in twenty has a flipped bit", func(_ context.Context, s *simRig) {
			s.board.Flip(bus(s), 0.05)
			s.board.Flip(port(s), 0.05)
		}},
		{"broker-gone", "the MQTT broker is away for 4 minutes", for4min(
			func(s *simRig) { s.broker.stop() }, func(s *simRig) { s.broker.start() })},
	}
}
