package main

import (
	"errors"
	"time"

	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
)

// process reckons what no sensor shows of the gas, the filter, the charcoal and
// the walls. It belongs to the core.
type process struct {
	loading *filter.Loading
	trend   *filter.Trend

	in  filter.Inputs
	dew filter.Inputs
}

// newProcess makes what the channels of the configuration allow.
func newProcess(cfg *config.Config, reading func(string) *sensors.Reading) (p process, err error) {
	r := cfg.Roles
	air := reading(ambientPressure(cfg))
	if r.FilterLoading != "" {
		if p.loading, err = filter.New(filter.Opts{Channel: r.FilterLoading, Clean: filter.Clean{Drop: r.CleanDrop, Suction: r.CleanSuction}}); err != nil {
			return process{}, err
		}
		p.trend = filter.NewTrend()
	}
	p.in = filter.Inputs{Drop: reading(r.FilterDrop), Flow: reading("gas_flow"), Suction: reading(r.Suction), Temp: reading(r.FilterIn), Air: air}
	return p, nil
}

// ambientPressure is the channel of the air's pressure, "" if there is none.
func ambientPressure(cfg *config.Config) string {
	for _, a := range cfg.Ambients {
		if a.Pressure != "" {
			return a.Pressure
		}
	}
	return ""
}

// step reckons a tick and hands every reading to put.
func (p *process) step(now time.Time, put func(...sensors.Reading)) {
	if p.loading != nil && p.in.Drop != nil {
		put(p.loading.Step(now, p.in))
	}
}

var errNoFilter = errors.New("no filter drop is measured: there is nothing to learn")

// cleaned takes the filter as clean from now on.
func (p *process) cleaned(now time.Time) error {
	if p.loading == nil {
		return errNoFilter
	}
	p.loading.Cleaned()
	p.trend.Cleaned(now)
	return nil
}
