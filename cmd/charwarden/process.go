package main

import (
	"errors"
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/blast"
	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/diagnosis"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/flow"
	"charwarden/sensors/derive/fuel"
	"charwarden/sensors/derive/hearth"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/derive/wall"
)

// process reckons what no sensor shows of the gas, the filter, the charcoal and
// the walls. It belongs to the core.
type process struct {
	flow    *flow.Flow
	loading *filter.Loading
	trend   *filter.Trend
	hopper  *fuel.Hopper
	blast   *blast.Blast
	causes  *diagnosis.Finder
	walls   []*wall.Watch // in the order of Roles.Walls
	cooling *cooldown.Watch
	holding *cooldown.HoldTest // nil without suction

	flowIn   flow.Inputs
	filterIn filter.Inputs
	blastIn  blast.Inputs
	wallsIn  []*sensors.Reading
	air      *sensors.Reading
	load     *sensors.Reading
	suction  *sensors.Reading
	signs    diagnosis.Inputs
	burnt    *sensors.Reading
	rate     *sensors.Reading
	scale    *sensors.Reading
	cold     sensors.Reading // of the gas flow of a rig without fire
	was      phase.Phase
	closed   bool // see shut
	buf      []sensors.Reading
	hearth   hearth.State // the usual one, until the blast says what it is now
}

// newProcess makes what the channels of the configuration allow.
func newProcess(cfg *config.Config, reading func(string) *sensors.Reading) (p process, err error) {
	r := cfg.Roles
	ambient := ambientOf(cfg)
	air, pressure := reading(ambient.Temperature), reading(ambient.Pressure)
	usual := usualHearth(cfg)
	if p.hearth, err = hearth.Solve(usual); err != nil {
		return p, err
	}
	if reading("gas_flow") != nil {
		o := flow.Opts{Hearth: usual, Engine: engineOf(cfg)}
		if r.Suction != "" && cfg.Nozzle.Gas > 0 {
			o.Point = flow.Point{Suction: r.CleanSuction, Gas: cfg.Nozzle.Gas}
		} else if r.Suction != "" && cfg.Nozzle.Bore > 0 {
			o.Nozzle = flow.Nozzle{Bore: cfg.Nozzle.Bore, Discharge: cfg.Nozzle.Discharge}
		}
		if p.flow, err = flow.New(o); err != nil {
			return p, err
		}
		p.flowIn = flow.Inputs{Suction: reading(r.Suction), Speed: reading(r.Speed), Manifold: reading(cfg.Engine.Manifold),
			Air: air, Pressure: pressure, Return: reading(r.Return), Gas: reading(r.FilterOut)}
	}
	if r.FilterLoading != "" {
		if p.loading, err = filter.New(filter.Opts{Channel: r.FilterLoading, Clean: cleanOf(cfg)}); err != nil {
			return p, err
		}
		p.trend = filter.NewTrend()
	}
	p.filterIn = filter.Inputs{Drop: reading(r.FilterDrop), Flow: reading("gas_flow"), Suction: reading(r.Suction), Temp: reading(r.FilterIn), Air: pressure}
	p.burnt, p.rate, p.scale = reading(fuel.BurntChannel), reading(fuel.FlowChannel), reading(r.Scale)
	if p.burnt != nil {
		o := fuel.Opts{Capacity: cfg.Charcoal.Hopper, Heel: cfg.Charcoal.Heel, Yield: p.hearth.YieldWet}
		if p.hopper, err = fuel.New(o); err != nil {
			return p, err
		}
	}

	if reading("bed_exit") != nil {
		if p.blast, err = blast.New(blast.Opts{Hearth: usual, WallArea: cfg.Hearth.WallArea, Engine: engineOf(cfg)}); err != nil {
			return p, err
		}
		p.blastIn = blast.Inputs{Flow: reading("gas_flow"), Speed: reading(r.Speed), Return: reading(r.Return),
			Air: air, Pressure: pressure, Humidity: reading(ambient.Humidity)}
		for _, w := range r.Walls {
			if x := reading(w); x != nil {
				p.blastIn.Walls = append(p.blastIn.Walls, x)
			}
		}
	}
	if err := p.shell(cfg, reading); err != nil {
		return p, err
	}
	p.air, p.suction = air, reading(r.Suction)
	if p.suction != nil {
		p.holding = cooldown.NewHold()
	}
	p.causes = diagnosis.New()
	p.signs = diagnosis.Inputs{
		GasOut: reading(r.GasOut), FilterIn: reading(r.FilterIn), FilterOut: reading(r.FilterOut), ReturnLine: reading(r.Return),
		Suction: reading(r.Suction), FilterDrop: reading(r.FilterDrop), Speed: reading(r.Speed), AirTemp: air,
		FilterLoading: reading(filter.Channel), DewMargin: reading(filter.DewChannel), CharcoalLeft: reading(fuel.LeftChannel),
	}
	if len(r.Walls) > 0 {
		p.signs.WallNear = reading(r.Walls[0])
	}
	if len(r.Walls) > 1 {
		p.signs.WallFar = reading(r.Walls[1])
	}
	if len(cfg.COs) > 0 {
		p.signs.CO = reading(cfg.COs[0].Channel)
	}
	return p, nil
}

// shell makes what follows the walls.
func (p *process) shell(cfg *config.Config, reading func(string) *sensors.Reading) error {
	limit := func(alarm string) float64 {
		for _, r := range cfg.Rules {
			if r.Name == alarm {
				return r.Limit
			}
		}
		return 0
	}
	p.load = reading("gas_flow")
	bySuction := p.load == nil
	if bySuction {
		p.load = reading(cfg.Roles.Suction)
	}
	for i, name := range cfg.Roles.Walls {
		x := reading(name)
		if x == nil {
			continue
		}
		w, err := wall.New(wall.Opts{Name: name, Limit: limit(name + "_caution"), Reach: limit(name + "_alarm"),
			Scale: cfg.Roles.Steels[i] == alarms.CarbonSteel, Suction: bySuction})
		if err != nil {
			return err
		}
		p.walls, p.wallsIn = append(p.walls, w), append(p.wallsIn, x)
	}
	if len(p.walls) > 0 {
		p.cooling = cooldown.New()
	}
	return nil
}

// cleanOf is the clean filter as the file tells it.
func cleanOf(cfg *config.Config) filter.Clean {
	r := cfg.Roles
	if r.CleanDrop == 0 || r.CleanSuction == 0 {
		return filter.Clean{}
	}
	return filter.Clean{Drop: r.CleanDrop, Suction: r.CleanSuction, Flow: cfg.Nozzle.Gas}
}

// usualHearth is the hearth at its usual setting.
func usualHearth(cfg *config.Config) hearth.Input {
	in := hearth.Default()
	in.Fuel, in.Moisture = cfg.Charcoal.Fuel, cfg.Charcoal.Moisture
	in.Loss, in.Return = cfg.Hearth.Loss, cfg.Hearth.Return
	return in
}

// engineOf is the engine as the file tells it; without displacement, none.
func engineOf(cfg *config.Config) engine.Spec {
	s := engine.Default()
	s.Displacement = cfg.Engine.Displacement
	s.VolumetricEfficiency, s.IndicatedEfficiency = cfg.Engine.VolumetricEfficiency, cfg.Engine.IndicatedEfficiency
	return s
}

// ambientOf is the first sensor of the air.
func ambientOf(cfg *config.Config) config.Ambient {
	if len(cfg.Ambients) == 0 {
		return config.Ambient{}
	}
	return cfg.Ambients[0]
}

// step reckons a tick and hands every reading to put, in the order in which
// they follow from each other.
func (p *process) step(now time.Time, ph phase.Phase, put func(...sensors.Reading)) {
	if p.flow != nil {
		p.buf = append(p.buf[:0], p.flow.Step(now, p.flowIn))
		put(p.buf...)
	}
	if p.blast != nil {
		p.blast.Step(now, p.blastIn)
		p.buf = p.blast.Readings(p.buf[:0])
		p.buf = append(p.buf, p.margin(p.buf[0]))
		put(p.buf...)
		if h, known := p.blast.State(); known {
			p.hearth = h
			p.flow.Hearth(&h)
		}
	}
	if p.hopper != nil {
		p.count(now, ph)
		p.buf = p.hopper.Readings(p.buf[:0])
		put(p.buf...)
	}
	p.was = ph
	if p.loading != nil {
		p.loading.Gas(p.hearth.Wet)
		p.buf = append(p.buf[:0], p.loading.Step(now, p.filterIn))
		put(p.buf...)
		p.trend.Step(now, p.signs.FilterLoading, p.burnt, p.rate)
		p.buf = p.trend.Readings(p.buf[:0])
		put(p.buf...)
		p.buf = append(p.buf[:0], filter.DewMargin(now, p.filterIn, &p.hearth.Wet))
		put(p.buf...)
	}
	p.shells(now, ph, put)
	p.causes.Step(now, p.signs, ph)
}

// shut reports whether the rig was sealed and nothing has drawn on it since: a
// fire that comes back in it may look like lighting.
func (p *process) shut(ph phase.Phase) bool {
	switch ph {
	case phase.Sealed:
		p.closed = true
	case phase.Lighting, phase.Cold:
		if s := p.suction; s != nil && s.Status == sensors.Good && s.Value > filter.MinSuction {
			p.closed = false
		}
	case phase.Unknown: // says nothing
	default:
		p.closed = false
	}
	return p.closed
}

// shells follows walls and seals.
func (p *process) shells(now time.Time, ph phase.Phase, put func(...sensors.Reading)) {
	p.buf = p.buf[:0]
	for i, w := range p.walls {
		w.Step(now, p.wallsIn[i], p.load, ph)
		p.buf = w.Readings(p.buf)
	}
	if p.cooling != nil {
		p.cooling.Step(now, cooldown.Inputs{Sealed: p.shut(ph), Air: p.air, GasOut: p.signs.GasOut, Walls: p.wallsIn})
		p.buf = p.cooling.Readings(p.buf)
	}
	if p.holding != nil {
		p.holding.Step(now, p.suction)
		if ph == phase.Warming || ph == phase.Running {
			p.holding.Ran = true
		}
		p.buf = append(p.buf, p.holding.Reading(now))
	}
	put(p.buf...)
}

// margin is how much more exhaust in the blast the fire bears, good when its
// bed's exit is; the return is known to a step of it.
func (p *process) margin(bed sensors.Reading) sensors.Reading {
	r := bed
	r.Channel = "return_margin"
	if a := p.blast.Advice(); r.Status != sensors.Good {
		r.Value, r.Raw = math.NaN(), math.NaN()
	} else if a.Side == blast.Unsaid {
		r = sensors.Bad(r.Channel, bed.At, sensors.Unknown, errUnsaid)
	} else {
		r.Value, r.Raw, r.Uncertainty = a.Margin, a.Margin, blast.Step
	}
	return r
}

var errUnsaid = errors.New("not reckoned yet: ask again in 10 s")

// count tells the hopper what is burnt. What the blower draws through a cold bed
// burns nothing, and while it is being lit about half of the air goes through
// unburnt (own choice).
func (p *process) count(now time.Time, ph phase.Phase) {
	if ph == phase.Lighting && p.was != ph {
		p.hopper.Begin()
	}
	gas := p.filterIn.Flow
	switch ph {
	case phase.Cold:
		if gas != nil && gas.Status == sensors.Good {
			p.cold = sensors.Bad(gas.Channel, gas.At, sensors.Unknown, errCold)
			gas = &p.cold
		}
	case phase.Lighting:
		p.hopper.Yield(2 * p.hearth.YieldWet)
	default:
		p.hopper.Yield(p.hearth.YieldWet)
	}
	p.hopper.Step(now, gas, p.scale)
}

var errCold = errors.New("the rig is cold: what is drawn is air")

// What a rig without them is told.
var (
	errNoHopper = errors.New("charcoal is not counted: a gas flow ([nozzle] or [engine]) or a [[scale]] is wanted")
	errNoFilter = errors.New("no filter is measured: its pressure drop, with suction or gas flow, is wanted")
)

// cleaned takes the filter as clean from now on.
func (p *process) cleaned(now time.Time) error {
	if p.loading == nil {
		return errNoFilter
	}
	p.loading.Cleaned()
	p.trend.Cleaned(now)
	return nil
}
