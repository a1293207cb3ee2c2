package main

import (
	"errors"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/blast"
	"charwarden/sensors/derive/diagnosis"
)

// hopperRow is the charcoal; null where it is not known.
type hopperRow struct {
	Left  *float64 `json:"charcoal_left"`
	Burnt *float64 `json:"charcoal_burnt"`
}

// noteRow is a note as it was understood.
type noteRow struct {
	Kind  string   `json:"kind"`
	Value *float64 `json:"value"`
	Unit  *string  `json:"unit"`
	Text  string   `json:"text"`

	Stored bool    `json:"stored"` // it outlives a power cut
	Why    *string `json:"why"`    // why not
}

// holdRow is how a hold test goes or went.
type holdRow struct {
	Running bool     `json:"running"`
	Begun   *float64 `json:"begun_pa"`
	Now     *float64 `json:"now_pa"`
	Leak    *float64 `json:"hold_leak"` // Pa/min; null: not known
	Best    *float64 `json:"best_leak"` // Pa/min of this rig at its best
	Tight   bool     `json:"tight"`
	Verdict string   `json:"verdict"`
}

var errNoSuction = errors.New("no suction is measured: there is nothing to follow")

// startHold begins a hold test of a rig whose engine stands.
func (c *core) startHold(now time.Time) (any, error) {
	switch {
	case c.holding == nil:
		return nil, errNoSuction
	case c.turns():
		return nil, errors.New("the engine is not known to stand: stop it first")
	}
	if err := c.holding.Start(now, c.suction); err != nil {
		return nil, err
	}
	return holdRowOf(c), nil
}

func holdRowOf(c *core) holdRow {
	h := c.holding
	if h == nil {
		return holdRow{Verdict: errNoSuction.Error()}
	}
	row := holdRow{Running: h.Running, Tight: h.Tight, Verdict: h.Verdict(), Leak: figure(h.Leak)}
	if h.Begun != 0 {
		row.Begun, row.Now = figure(h.Begun), figure(h.Now)
	}
	if h.Best > 0 {
		row.Best = figure(h.Best)
	}
	return row
}

// causeRows are what may be wrong, the most certain first.
func causeRows(c *core) []causeRow {
	rows := []causeRow{}
	switch c.causes.Verdict() {
	case diagnosis.NotEnough:
		return append(rows, verdictRow(diagnosis.NotEnough, "not enough is measured or learned of this rig yet to tell"))
	case diagnosis.Unclear:
		rows = append(rows, verdictRow(diagnosis.Unclear, "something is out of this rig's ordinary, and the signs are not enough to tell what"))
	}
	for _, f := range c.causes.Findings(nil) {
		row := causeRow{Cause: f.Cause.String(), Certainty: f.Word().String(), Score: math.Round(100*f.Certainty) / 100, Means: f.Cause.Title(),
			For: []string{}, Against: []string{}, DoFirst: orNull(f.First), Since: stampOf(f.Since)}
		for _, e := range f.For {
			row.For = append(row.For, e.String())
		}
		for _, e := range f.Against {
			row.Against = append(row.Against, e.String())
		}
		rows = append(rows, row)
	}
	return rows
}

func verdictRow(v diagnosis.Verdict, means string) causeRow {
	return causeRow{Cause: v.String(), Certainty: v.String(), Means: means, For: []string{}, Against: []string{}}
}

// fireRow is what the fire makes, reckoned; null where it is not known.
type fireRow struct {
	Side         string   `json:"side"`            // of quenching: strong, near_quenching, quenched
	BedExit      *float64 `json:"bed_exit"`        // degC
	GasHeat      *float64 `json:"gas_heat"`        // MJ/Nm3, wet
	AirNeed      *float64 `json:"air_need"`        // of the gas, by volume
	Shaft        *float64 `json:"shaft_power"`     // W
	Return       *float64 `json:"return_fraction"` // of the blast, as reckoned with
	Step         *float64 `json:"step"`            // more of it would change
	BedChange    *float64 `json:"bed_change_k"`
	HeatChange   *float64 `json:"heat_change_percent"`
	PowerChange  *float64 `json:"power_change_percent"`
	QuenchReturn *float64 `json:"quench_return"` // at which the bed's exit is at 750 degC
	Margin       *float64 `json:"return_margin"`
}

var errNoFire = errors.New("no gas is reckoned: [nozzle] or [engine] is wanted")

func fireRowOf(c *core) ([]fireRow, error) {
	if c.process.blast == nil {
		return nil, errNoFire
	}
	now := func(channel string) *float64 {
		if x := c.reading(channel); x != nil && x.Status == sensors.Good {
			return figure(x.Value)
		}
		return nil
	}
	a := c.process.blast.Advice()
	row := fireRow{Side: a.Side.String(), BedExit: now("bed_exit"), GasHeat: now("gas_heat"), AirNeed: now("air_need"), Shaft: now("shaft_power")}
	if a.Side != blast.Unsaid && row.BedExit != nil {
		row.Return, row.Step, row.BedChange = figure(a.Return), figure(a.Step), figure(a.Bed)
		row.HeatChange, row.PowerChange = figure(100*a.Heat), figure(100*a.Power)
		row.QuenchReturn, row.Margin = figure(a.Quench), figure(a.Margin)
	}
	return []fireRow{row}, nil
}

// causeRow is one likely cause of what the channels show.
type causeRow struct {
	Cause     string   `json:"cause"`
	Certainty string   `json:"certainty"`
	Score     float64  `json:"score"` // 0 to 1
	Means     string   `json:"means"`
	For       []string `json:"for"`
	Against   []string `json:"against"`
	DoFirst   *string  `json:"do_first"`
	Since     *string  `json:"since"`
}
