package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/cooldown"
)

// alarmRow is one alarm as the desk tells it: the keys of its MQTT message and
// what only a person at the rig asks for.
type alarmRow struct {
	Name     string   `json:"name"`
	Channel  string   `json:"channel"`
	Priority string   `json:"priority"`
	State    string   `json:"state"`
	Value    *float64 `json:"value"`
	Limit    *float64 `json:"limit"`
	Unit     *string  `json:"unit"`
	Since    *string  `json:"since"` // RFC 3339
	Seq      uint64   `json:"seq"`
	Means    *string  `json:"means"`
	DoFirst  *string  `json:"do_first"`
	Order    *uint64  `json:"order"`  // null: it never came; the lowest that stands was first out
	Hidden   uint64   `json:"hidden"` // occurrences while it could not call
	LeftS    *float64 `json:"left_s"` // shelved: until it comes back
	Reason   *string  `json:"reason"` // why it cannot call
	Test     bool     `json:"test"`   // raised by test gas
}

// levelRow adds what a table needs to show the figures: whether they are levels
// of the channel, or a difference, which no display may shift like a level.
type levelRow struct {
	alarmRow
	Level bool `json:"level"`
}

// turnRow is what became of an alarm.
type turnRow struct {
	Alarm string `json:"alarm"`
	State string `json:"state"`
}

// phaseRow is the phase of the rig; null while nothing is known of it.
type phaseRow struct {
	Phase    *string `json:"phase"`
	Forced   bool    `json:"forced"`
	Inferred *string `json:"inferred"` // what the readings say
	Since    *string `json:"since"`

	// Of a rig that was shut: s until every wall is at 60 degC, and what that does
	// not mean.
	Cold    *float64 `json:"wall_cold_time"`
	Caution *string  `json:"caution"`
}

// permitRow is the engine's run permit.
type permitRow struct {
	Fitted bool    `json:"fitted"`
	Held   bool    `json:"held"` // the engine may run
	Why    *string `json:"why"`  // why not
}

// testRow is how a bump test goes.
type testRow struct {
	Channel string   `json:"channel"`
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"`
	Status  string   `json:"status"`
	Peak    *float64 `json:"peak"`
	Asked   *float64 `json:"asked"` // null: nobody told how strong the gas is
	Passed  bool     `json:"passed"`
	Running bool     `json:"running"`
	Clear   bool     `json:"clear"` // nothing that the gas raised would stand if it ended now
	LeftS   float64  `json:"left_s"`
}

// calRow is what a calibration changed.
type calRow struct {
	Channel string    `json:"channel"`
	What    string    `json:"what"`
	Before  *float64  `json:"before"`
	After   *float64  `json:"after"`
	Unit    string    `json:"unit"`
	Date    time.Time `json:"date"`
}

func alarmRows(c *core) []levelRow {
	all := c.engine.Alarms(nil)
	rows := make([]levelRow, len(all))
	for i := range all {
		kind := all[i].Rule.Kind
		rows[i] = levelRow{alarmRowOf(&all[i], quantityOf(c, all[i].Rule.Channel)),
			kind == alarms.Above || kind == alarms.Below || kind == alarms.Projected}
		if x := c.reading(all[i].Rule.Channel); x == nil || !valued(x.Status) {
			rows[i].Value = nil // what it was judged by last is not live
		}
	}
	return rows
}

func alarmRowOf(a *alarms.Alarm, q sensors.Quantity) alarmRow {
	r := a.Rule
	row := alarmRow{
		Name: r.Name, Channel: r.Channel, Priority: r.Priority.String(), State: a.State.String(),
		Since: stampOf(a.Since), Seq: a.Seq, Means: orNull(r.Means), DoFirst: orNull(r.DoFirst),
		Hidden: a.Hidden, Test: a.Test,
	}
	if r.Kind.Limited() {
		limit := r.Limit
		row.Value, row.Limit, row.Unit = figure(a.Value), &limit, orNull(r.Unit(q))
	}
	if a.Order > 0 {
		row.Order = &a.Order
	}
	switch a.State {
	case alarms.Shelved:
		left := math.Ceil(a.Left.Seconds())
		row.LeftS = &left
	case alarms.OutOfService:
		row.Reason = orNull(a.Reason)
	case alarms.Suppressed:
		row.Reason = orNull(watchesWhile(r))
	}
	return row
}

// watchesWhile says when a rule watches.
func watchesWhile(r *alarms.Rule) string {
	var all []string
	for _, w := range r.While {
		if len(w.Phases) == 0 {
			all = append(all, fmt.Sprintf("%s is %v %g", w.Channel, w.Kind, w.Limit))
			continue
		}
		var words []string
		for _, p := range w.Phases {
			words = append(words, p.String())
		}
		all = append(all, "the phase is "+strings.Join(words, " or "))
	}
	return "watches only while " + strings.Join(all, " and ")
}

func phaseOf(c *core) phaseRow {
	row := phaseRow{Forced: c.finder.Forced()}
	if c.finder.Known() {
		row.Inferred = orNull(c.finder.Inferred().String())
	}
	if row.Forced || row.Inferred != nil {
		row.Phase, row.Since = orNull(c.shown.String()), stampOf(c.finder.Since())
	}
	if x := c.reading(cooldown.ColdChannel); x != nil && x.Status == sensors.Good {
		row.Cold, row.Caution = figure(x.Value), orNull(cooldown.Caution)
	}
	return row
}

func testRowOf(c *core, channel string) (testRow, error) {
	r, ok := c.testState(channel)
	if !ok {
		return testRow{}, fmt.Errorf("bump test of %s: none was begun", channel)
	}
	return testRowFor(c, r), nil
}

func testRowFor(c *core, r testResult) testRow {
	row := testRow{Channel: r.Channel, Unit: quantityOf(c, r.Channel).Unit(), Peak: figure(r.Peak),
		Passed: r.Passed, Running: r.Running, Clear: c.clear(r.Channel), LeftS: math.Ceil(r.Left.Seconds())}
	if r.Asked > 0 {
		row.Asked = figure(r.Asked)
	}
	if x := c.reading(r.Channel); x != nil {
		row.Status = x.Status.String()
		if x.Status == sensors.Good {
			row.Value = figure(x.Value)
		}
	}
	return row
}

// quantityOf a channel that the core has.
func quantityOf(c *core, channel string) sensors.Quantity {
	i := slices.IndexFunc(c.channels, func(ch sensors.Channel) bool { return ch.Name == channel })
	return c.channels[i].Quantity
}

// stampOf is RFC 3339 in UTC with milliseconds; null for the zero time.
func stampOf(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	return orNull(t.UTC().Format("2006-01-02T15:04:05.000Z"))
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
