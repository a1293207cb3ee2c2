package main

import (
	"fmt"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/fuel"
	"charwarden/sensors/derive/phase"
)

// marks are what the daemon notes by itself of a run: lid, refuelling, and when
// the engine first ran. Own choices all: what a hand may have done counts once
// it has lasted for 3 s, charcoal once it is 0.3 kg more than a minute ago.
type marks struct {
	lid     bool
	lidTurn time.Time // since when it has been the other way; zero: it is not
	ran     bool      // the engine, since the rig was lit
	left    [60]float64
	n       int // of left
}

const (
	lidLasts  = 3 * time.Second
	refuelled = 0.3  // kg
	turns     = 300. // rpm
)

// told is that a person has just said what is in the hopper.
func (m *marks) told() { m.n = 0 }

// step looks once a second.
func (m *marks) step(now time.Time, c *core, ph phase.Phase) (notes []runlog.Note) {
	if open := c.flow != nil && c.flow.LidOpen(); open == m.lid {
		m.lidTurn = time.Time{}
	} else if m.lidTurn.IsZero() {
		m.lidTurn = now
	} else if now.Sub(m.lidTurn) >= lidLasts {
		m.lid, m.lidTurn = open, time.Time{}
		notes = append(notes, runlog.Note{Kind: "lid", Text: map[bool]string{true: "open (detected)", false: "shut (detected)"}[open]})
	}
	switch x := c.reading(c.cfg.Roles.Speed); {
	case ph == phase.Cold || ph == phase.Lighting && (x == nil || x.Status != sensors.Good || x.Value < turns):
		m.ran = false
	case !m.ran && x != nil && x.Status == sensors.Good && x.Value >= turns:
		m.ran = true
		notes = append(notes, runlog.Note{Kind: "engine", Text: "runs (detected)"})
	}
	return append(notes, m.refuel(c)...)
}

// refuel sees charcoal come in where a scale is fitted.
func (m *marks) refuel(c *core) []runlog.Note {
	x := c.reading(fuel.LeftChannel)
	if c.scale == nil || x == nil || x.Status != sensors.Good {
		m.n = 0
		return nil
	}
	place := m.n % len(m.left)
	more := x.Value - m.left[place]
	m.left[place] = x.Value
	if m.n++; m.n <= len(m.left) || more < refuelled {
		return nil
	}
	m.n = 0
	return []runlog.Note{{Kind: "refuel", Text: fmt.Sprintf("about %.1f kg (detected)", more), Value: &more, Unit: "kg"}}
}
