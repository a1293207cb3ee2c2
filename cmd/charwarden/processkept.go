package main

import (
	"charwarden/sensors/derive/diagnosis"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/fuel"
)

// processKept is what the process has learned and counted.
type processKept struct {
	Filter *filter.Kept      `json:"filter,omitempty"`
	Trend  *filter.TrendKept `json:"trend,omitempty"`
	Hopper *fuel.Kept        `json:"hopper,omitempty"`
	Causes *diagnosis.Kept   `json:"causes,omitempty"`
}

func (p *process) keep() (k processKept) {
	if p.loading != nil {
		f, t := p.loading.Keep(), p.trend.Keep()
		k.Filter, k.Trend = &f, &t
	}
	if p.hopper != nil {
		h := p.hopper.Keep()
		k.Hopper = &h
	}
	d := p.causes.Keep()
	k.Causes = &d
	return k
}

// restore comes before the first step. What is kept of a part that is not
// fitted any more is dropped.
func (p *process) restore(k processKept) {
	if p.loading != nil && k.Filter != nil {
		p.loading.Restore(*k.Filter)
	}
	if p.loading != nil && k.Trend != nil {
		p.trend.Restore(*k.Trend)
	}
	if p.hopper != nil && k.Hopper != nil {
		p.hopper.Restore(*k.Hopper)
	}
	if k.Causes != nil {
		p.causes.Restore(*k.Causes)
	}
}
