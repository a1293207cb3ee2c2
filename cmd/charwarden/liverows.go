package main

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// readingRow is one channel as it is now. Its value is null unless its status
// is good: what stood before is not told.
type readingRow struct {
	Channel     string   `json:"channel"`
	Group       string   `json:"group"`
	Quantity    string   `json:"quantity"`
	Derived     bool     `json:"derived"` // reckoned, not measured
	Value       *float64 `json:"value"`
	Unit        string   `json:"unit"`
	Uncertainty *float64 `json:"uncertainty"` // half width; null: not stated
	AtLeast     bool     `json:"at_least"`    // value is a lower bound
	Status      string   `json:"status"`
	Why         *string  `json:"why"`   // why it is not good
	AgeS        *float64 `json:"age_s"` // since it was read; null: never
}

// liveRow is what `watch` shows, all of one tick.
type liveRow struct {
	Rig      string       `json:"rig"`
	Time     string       `json:"time"` // RFC 3339
	Phase    phaseRow     `json:"phase"`
	Permit   permitRow    `json:"permit"`
	Alarms   []levelRow   `json:"alarms"` // those that are neither normal nor suppressed, the worst first
	Causes   []causeRow   `json:"causes"`
	Readings []readingRow `json:"readings"`
}

func liveOf(c *core, now time.Time) liveRow {
	l := liveRow{Rig: c.cfg.Rig.Name, Time: *stampOf(now), Phase: phaseOf(c), Alarms: []levelRow{},
		Causes: causeRows(c), Readings: readingRows(c, now)}
	held, why, fitted := c.permitState()
	l.Permit = permitRow{fitted, held, orNull(why)}
	for _, r := range byUrgency(c, alarmRows(c)) {
		if r.State != alarms.Normal.String() && r.State != alarms.Suppressed.String() {
			l.Alarms = append(l.Alarms, r)
		}
	}
	return l
}

// gone reports whether the alarm waits only for somebody to acknowledge it.
func (r alarmRow) gone() bool { return r.State == alarms.Returned.String() }

// byUrgency puts what stands first, the worst on top: of one priority, what is
// still so before what is gone, and what stops the engine before the rest.
func byUrgency(c *core, rows []levelRow) []levelRow {
	stops := map[string]bool{}
	for _, r := range c.cfg.Rules {
		stops[r.Name] = r.Stops
	}
	weight := func(r levelRow) int {
		switch {
		case !r.stands() || r.gone():
			return 2
		case stops[r.Name]:
			return 0
		}
		return 1
	}
	slices.SortStableFunc(rows, func(a, b levelRow) int {
		if a.stands() && b.stands() && a.Priority == b.Priority && weight(a) != weight(b) {
			return cmp.Compare(weight(a), weight(b))
		}
		return a.compare(b.alarmRow)
	})
	return rows
}

func readingRows(c *core, now time.Time) []readingRow {
	rows := make([]readingRow, len(c.channels))
	groups := groupsOf(c)
	for i, ch := range c.channels {
		r := &c.readings[i]
		row := readingRow{Channel: ch.Name, Group: groups(ch), Quantity: quantityWords[ch.Quantity], Unit: ch.Quantity.Unit(),
			Derived: i >= len(c.cfg.Channels), Status: r.Status.String()}
		if r.Status == sensors.Good {
			row.Value, row.AtLeast = figure(r.Value), r.AtLeast
			if r.Uncertainty > 0 {
				row.Uncertainty = figure(r.Uncertainty)
			}
		} else if r.Err != nil {
			row.Why = orNull(r.Err.Error())
		}
		if !r.At.IsZero() {
			age := math.Round(1000*max(0, now.Sub(r.At).Seconds())) / 1000
			row.AgeS = &age
		}
		rows[i] = row
	}
	return rows
}

// quantityWords say what a channel measures.
var quantityWords = [sensors.Quantities]string{"temperature", "pressure", "co", "speed", "voltage", "humidity", "age", "mean",
	"cohb", "ratio", "gas_flow", "mass", "mass_flow", "heating_value", "power", "difference", "thickness", "leak", "loading"}

// The groups of channels, in the order in which `watch` shows them.
const (
	groupWalls      = "walls"
	groupGas        = "gas and filter"
	groupPressure   = "pressure"
	groupCO         = "co"
	groupEngine     = "engine"
	groupCharcoal   = "charcoal"
	groupInstrument = "instrument"
)

var groupOrder = []string{groupWalls, groupGas, groupPressure, groupCO, groupEngine, groupCharcoal, groupInstrument}

// groupsOf tells the group of a channel by the roles of the configuration and by
// what its name begins with.
func groupsOf(c *core) func(sensors.Channel) string {
	r := c.cfg.Roles
	places := map[string]string{
		r.GasOut: groupGas, r.FilterIn: groupGas, r.FilterOut: groupGas, r.Return: groupGas, r.FilterDrop: groupGas,
		r.Suction: groupPressure, "hold_leak": groupPressure, r.Speed: groupEngine, "shaft_power": groupEngine, r.Scale: groupCharcoal,
		"wall_cold_time": groupWalls, "cooldown_tau": groupWalls, "seal_health": groupWalls, "reignition": groupWalls,
		"bed_exit": groupGas, "gas_heat": groupGas, "gas_flow": groupGas, "air_need": groupGas, "return_margin": groupGas,
		"board_temp": groupInstrument,
	}
	for _, a := range c.cfg.Ambients {
		places[a.Temperature], places[a.Pressure] = groupInstrument, groupInstrument
	}
	type family struct{ begin, group string }
	var families []family // the more particular first
	for _, w := range r.Walls {
		families = append(families, family{w, groupWalls})
	}
	for _, co := range c.cfg.COs {
		families = append(families, family{co.Channel, groupCO})
	}
	families = append(families, family{"charcoal", groupCharcoal}, family{"filter", groupGas})
	return func(ch sensors.Channel) string {
		if g, ok := places[ch.Name]; ok {
			return g
		}
		for _, f := range families {
			if ch.Name == f.begin || strings.HasPrefix(ch.Name, f.begin+"_") {
				return f.group
			}
		}
		switch ch.Quantity {
		case sensors.CO:
			return groupCO
		case sensors.Pressure:
			return groupPressure
		case sensors.Temperature:
			return groupGas
		case sensors.Speed, sensors.Power:
			return groupEngine
		case sensors.Mass, sensors.MassFlow:
			return groupCharcoal
		}
		return groupInstrument
	}
}
