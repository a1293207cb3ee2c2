package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/cocell"
	"charwarden/sensors/tacho"
)

// rig is the measuring part of the daemon, built from a configuration: the
// owners of the buses and the sweep that their readings go to.
type rig struct {
	owners []*sensors.Owner
	close  []io.Closer // of the buses, once their owners have ended
	in     chan sensors.Reading
	sweep  *sensors.Sweep
	places map[string]place
}

// place is where a channel's value comes from, for `check`.
type place struct{ chip, bus string }

// adcRate is fast enough for three samples of one channel and one of each
// other in a tenth of a second, with a converter that runs 10 % slow.
const adcRate = 250

// readingQueue holds a second of a large rig's readings.
const readingQueue = 1024

type wiring struct {
	*rig
	cfg   *config.Config
	board sensors.Board
	clock sensors.Clock

	byBus map[string]*sensors.Owner
	spi   map[string]*sensors.SPIBus
	i2c   map[string]*sensors.I2CBus
	adcs  map[string]*sensors.ADC
	cells map[string]*sensors.Latest
}

// wire builds the rig; nothing is opened before the owners run.
func wire(cfg *config.Config, b sensors.Board, c sensors.Clock, zeros map[string]sensors.Zero) (*rig, error) {
	w := &wiring{
		rig:   &rig{in: make(chan sensors.Reading, readingQueue), places: make(map[string]place)},
		cfg:   cfg,
		board: b,
		clock: c,
		byBus: make(map[string]*sensors.Owner),
		spi:   make(map[string]*sensors.SPIBus),
		i2c:   make(map[string]*sensors.I2CBus),
		adcs:  make(map[string]*sensors.ADC),
		cells: make(map[string]*sensors.Latest),
	}
	var err error
	if w.sweep, err = sensors.NewSweep(cfg.Channels, zeros, c.Now()); err != nil {
		return nil, err
	}
	w.couples()
	w.slow() // before what refers to its channels
	if err := w.analog(); err != nil {
		return nil, err
	}
	w.tachos()
	w.scales()
	w.host()
	return w.rig, nil
}

// owner returns the owner of a bus, made when first asked for.
func (w *wiring) owner(bus string) *sensors.Owner {
	o := w.byBus[bus]
	if o == nil {
		o = sensors.NewOwner(bus, w.clock, w.in)
		w.byBus[bus] = o
		w.owners = append(w.owners, o)
	}
	return o
}

func (w *wiring) i2cBus(bus string) *sensors.I2CBus {
	b := w.i2c[bus]
	if b == nil {
		b = sensors.NewI2CBus(w.board, bus)
		w.i2c[bus] = b
		w.close = append(w.close, b)
	}
	return b
}

// cell is where a channel's newest value waits for those that reckon with it.
func (w *wiring) cell(channel string) *sensors.Latest {
	if channel == "" {
		return nil
	}
	if w.cells[channel] == nil {
		w.cells[channel] = new(sensors.Latest)
	}
	return w.cells[channel]
}

func (w *wiring) couples() {
	for _, t := range w.cfg.Thermocouples {
		// All ports of one controller, /dev/spidev0.*, are one bus.
		bus := strings.TrimSuffix(t.Port, filepath.Ext(t.Port))
		if w.spi[bus] == nil {
			w.spi[bus] = sensors.NewSPIBus(w.board)
			w.close = append(w.close, w.spi[bus])
		}
		w.owner(bus).Add(&sensors.Couple{Channel: t.Channel, Bus: w.spi[bus], Port: t.Port, Select: t.Select, Type: t.Type}, t.Every)
		at := t.Port
		if t.Select != "" {
			w.spi[bus].Claim(t.Select)
			at += " select " + t.Select
		}
		w.places[t.Channel] = place{"MAX31855" + t.Type.String(), at}
	}
}

// slow adds the supplies and the air, which others reckon with.
func (w *wiring) slow() {
	for _, s := range w.cfg.Supplies {
		w.owner(s.Bus).Add(&sensors.Supply{Channel: s.Channel, Bus: w.i2cBus(s.Bus), Addr: s.Address, Out: w.cell(s.Channel)}, s.Every)
		w.places[s.Channel] = place{"INA219", fmt.Sprintf("%s 0x%02x", s.Bus, s.Address)}
	}
	for _, a := range w.cfg.Ambients {
		w.owner(a.Bus).Add(&sensors.Air{Temperature: a.Temperature, Pressure: a.Pressure, Humidity: a.Humidity,
			Bus: w.i2cBus(a.Bus), Addr: a.Address, Out: w.cell(a.Temperature)}, a.Every)
		for _, ch := range []string{a.Temperature, a.Pressure, a.Humidity} {
			w.places[ch] = place{"BMx280", fmt.Sprintf("%s 0x%02x", a.Bus, a.Address)}
		}
	}
}

func (w *wiring) analog() error {
	for _, a := range w.cfg.ADCs {
		w.adcs[a.Name] = &sensors.ADC{Bus: w.i2cBus(a.Bus), Addr: a.Address,
			Sleep: func(d time.Duration) { w.clock.Sleep(context.Background(), d) }}
	}
	rate, err := ads1115.RateFor(adcRate)
	if err != nil {
		return err
	}
	on := func(adc string) (config.ADC, ads1115.Range, error) {
		for _, a := range w.cfg.ADCs {
			if a.Name == adc {
				r, err := ads1115.RangeFor(a.VDD)
				return a, r, err
			}
		}
		return config.ADC{}, 0, fmt.Errorf("adc %s: not configured", adc)
	}
	for _, p := range w.cfg.Pressures {
		a, rng, err := on(p.ADC)
		if err != nil {
			return err
		}
		w.owner(a.Bus).Add(&sensors.Membrane{Channel: p.Channel, ADC: w.adcs[p.ADC], Input: p.Input, Range: rng, Rate: rate,
			Law: p.Law, Divider: p.Divider, Supply: w.cell(p.Supply)}, p.Every)
		w.places[p.Channel] = place{fmt.Sprintf("%s on ADS1115 %s", p.Law.Name, p.Input), fmt.Sprintf("%s 0x%02x", a.Bus, a.Address)}
	}
	for _, c := range w.cfg.COs {
		a, rng, err := on(c.ADC)
		if err != nil {
			return err
		}
		s := &sensors.COCell{Channel: c.Channel, ADC: w.adcs[c.ADC], Input: c.Input, Range: rng, Rate: rate,
			Cell: c.Cell, Temperature: w.cell(c.Temperature), Limits: limits(w.cfg.Rules, c.Channel)}
		if c.StuckAfter > 0 {
			s.Stuck = &cocell.Stuck{After: c.StuckAfter, Learn: c.StuckAfter}
		}
		w.owner(a.Bus).Add(s, c.Every)
		w.places[c.Channel] = place{fmt.Sprintf("CO cell on ADS1115 %s", c.Input), fmt.Sprintf("%s 0x%02x", a.Bus, a.Address)}
	}
	return nil
}

// limits are the levels of a channel's limit alarms, which a jump must not
// cross unconfirmed.
func limits(rules []alarms.Rule, channel string) (ls []float64) {
	for _, r := range rules {
		if r.Channel == channel && r.Kind == alarms.Above {
			ls = append(ls, r.Limit)
		}
	}
	return ls
}

func (w *wiring) tachos() {
	for _, t := range w.cfg.Tachos {
		w.owner("pin "+t.Pin).Add(&sensors.Shaft{Channel: t.Channel, Board: w.board, Pin: t.Pin,
			Every: t.Every,
			Opts:  tacho.Opts{PulsesPerRev: t.PulsesPerRev, MaxRPM: t.Max, Now: w.clock.Now}}, t.Every)
		w.places[t.Channel] = place{"tacho", t.Pin}
	}
}

// scales are clocked by hand, in real time whatever the daemon's clock is.
func (w *wiring) scales() {
	for _, s := range w.cfg.Scales {
		w.owner("pin "+s.Clock).Add(&sensors.Scale{Channel: s.Channel, Board: w.board, Clock: s.Clock, Data: s.Data, Input: s.Input,
			Zero: s.Zero, KgPerCount: 1 / s.PerKilogram, FullScale: s.FullScale, Now: time.Now}, s.Every)
		w.places[s.Channel] = place{"HX711", s.Clock + " " + s.Data}
	}
}

// host adds what the board itself shows. Its owner may hang on a dead disk,
// like any other on its bus.
func (w *wiring) host() {
	o := w.owner("board")
	for _, ch := range w.cfg.Channels {
		var s sensors.Sensor
		switch ch.Name {
		case "board_temp":
			s = &sensors.Heat{Channel: ch.Name, Path: w.cfg.Board.Thermal}
		case "disk_free":
			s = &sensors.Disk{Channel: ch.Name, Dir: w.cfg.State}
		case "clock_unsynced":
			s = &sensors.ClockSync{Channel: ch.Name}
		default:
			continue
		}
		o.Add(s, ch.Period)
	}
}
