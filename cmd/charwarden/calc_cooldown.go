package main

import "charwarden/sensors/derive/cooldown"

var cooldownSheet = &sheet{
	name:    "cooldown",
	usage:   "(--start T --tau min | --profile FILE.csv) [--air T] [--minutes M] [--until T]",
	does:    "How a shut-down rig cools: its temperature after a time, the time to a temperature, and tau from a recording.",
	heading: "Cooling",
	sample:  "tau=60..180/5",
	knobs: []knob{
		{flag: "start", key: "start_c", name: "start", in: inDegC, low: -40, high: 1500, help: "of the wall at the start, `degC`"},
		{flag: "air", key: "air_c", name: "air", in: inDegC, value: "20", low: -40, high: 60, help: "`degC`, -40 to 60"},
		{flag: "tau", key: "tau_min", name: "tau", in: inMinutes, low: 6, high: 60e4, help: "time in which what is above the air falls to 37 %, `min`"},
		{flag: "minutes", key: "minutes", name: "time", in: inMinutes, value: "0", low: 0, high: 6e6, help: "since the start, `min`, or with a unit (8h)"},
		{flag: "until", key: "until_c", name: "temperature waited for", in: inDegC, value: "60", low: -40, high: 1500, help: "the temperature that is waited for, `degC`"},
		{flag: "profile", name: "recording", help: "`FILE` with the columns minute,degc of a wall that cools: gives tau"},
	},
	solve: cooldownAnswer,
	panels: []panel{
		{"Temperature", "degC", []trace{{"temp_c", 1}, {"until_c", 1}}},
		{"From then until it is there", "h", []trace{{"minutes_until", 1.0 / 60}}},
	},
	draw: cooldownFigure,
}

func cooldownAnswer(s *settings) (outcome, error) {
	if s.has("profile") {
		for _, f := range []string{"start", "tau"} {
			if s.has(f) {
				return outcome{}, &flagError{f, "and --profile cannot both be set: it follows from the recording"}
			}
		}
	}
	air, tau, start := s.of("air"), s.of("tau"), s.of("start")
	rows, off := nan, nan
	if s.has("profile") {
		r, err := coolingOf(s)
		if err != nil {
			return outcome{}, err
		}
		start, tau, rows, off = r.start, r.tau, float64(len(r.minute)), r.off
	} else if err := s.need("start", "tau"); err != nil {
		return outcome{}, err
	}
	until := s.of("until")
	if until <= air {
		return outcome{}, &flagError{"until", inDegC.text(until) + ": must be above the air's " + inDegC.text(air)}
	}
	if start < air {
		return outcome{}, &flagError{"start", inDegC.text(start) + ": must not be below the air's " + inDegC.text(air)}
	}
	t := s.of("minutes")
	wait := max(0, cooldown.Until(start, air, tau, until)-t)
	return outcome{cells{
		{"start_c", "start", "start", "degC", 0, start},
		{"air_c", "air", "air", "degC", 0, air},
		{"tau_min", "tau", "tau", "min", 1, tau / 60},
		{"minutes", "time", "time", "min", 1, t / 60},
		{"temp_c", "wall", "wall", "degC", 1, cooldown.At(start, air, tau, t)},
		{"until_c", "temperature waited for", "until", "degC", 0, until},
		{"minutes_until", "from then until it is there", "wait", "min", 0, wait / 60},
		{"rows", "rows of the recording", "", "", 0, rows},
		{"residual_k", "they are off by (rms)", "", "K", 2, off},
	}, []string{"By one tau: the wall's outside. What is inside cools more slowly. " + cooldown.Caution}}, nil
}

// cooldownFigure is the wall over time, with the recording if there is one.
func cooldownFigure(s *sheet, set *settings, a *outcome) (*chart, error) {
	end := a.cells.find("minutes_until").value*60 + set.of("minutes")
	c, err := s.along(set, "minutes", 0, max(1.2*end, 3*60*a.cells.find("tau_min").value))
	if err != nil {
		return nil, err
	}
	c.panels = c.panels[:1] // the other one says what this one shows
	c.under += " " + cooldown.Caution
	if set.has("profile") {
		r, err := coolingOf(set)
		if err != nil {
			return nil, err
		}
		c.measured(0, "recording", r.minute, r.degC)
	}
	return c, nil
}
