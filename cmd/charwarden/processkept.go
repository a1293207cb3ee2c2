package main

import (
	"time"

	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/diagnosis"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/fuel"
	"charwarden/sensors/derive/wall"
)

// processKept is what the process has learned and counted.
type processKept struct {
	Filter *filter.Kept      `json:"filter,omitempty"`
	Trend  *filter.TrendKept `json:"trend,omitempty"`
	Hopper *fuel.Kept        `json:"hopper,omitempty"`
	Causes *diagnosis.Kept   `json:"causes,omitempty"`

	Walls   map[string]wall.Kept `json:"walls,omitempty"`
	Cooling *cooldown.Kept       `json:"cooling,omitempty"`
	Hold    *cooldown.HoldKept   `json:"hold,omitempty"`
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
	if len(p.walls) > 0 {
		k.Walls = make(map[string]wall.Kept, len(p.walls)) // the writer has the one before
		for i, w := range p.walls {
			k.Walls[p.wallsIn[i].Channel] = w.Keep()
		}
		c := p.cooling.Keep()
		k.Cooling = &c
	}
	if p.holding != nil {
		h := p.holding.Keep()
		k.Hold = &h
	}
	return k
}

// restore comes before the first step. What is kept of a part that is not
// fitted any more is dropped.
func (p *process) restore(k processKept, now time.Time) {
	for i, w := range p.walls {
		if x, kept := k.Walls[p.wallsIn[i].Channel]; kept {
			w.Restore(x)
		}
	}
	if p.cooling != nil && k.Cooling != nil {
		p.cooling.Restore(*k.Cooling, now)
		p.closed = k.Cooling.Sealed
	}
	if p.holding != nil && k.Hold != nil {
		p.holding.Restore(*k.Hold)
	}
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
