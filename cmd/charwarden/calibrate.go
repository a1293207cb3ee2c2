package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"charwarden/sensors"
)

// settleFor is how long a calibration looks at the channel: the daemon
// averages as much.
const settleFor = 30 * time.Second

// calibrate zeroes or spans a channel of the running daemon with a person.
func calibrate(ctx context.Context, c *call) error {
	fs := c.flags("calibrate", "calibrate [-c FILE | --socket PATH] CHANNEL zero|span [--reference VALUE]")
	where := addVisitFlags(fs)
	reference := fs.String("reference", "", "for span: what is really there, `VALUE` in the channel's unit or with one")
	words, err := c.words(fs, flagsAnywhere, 0, "CHANNEL", "zero|span")
	if err != nil {
		return err
	}
	o := calOrder{Channel: words[0], What: words[1]}
	switch {
	case o.What != "zero" && o.What != "span":
		return &usageError{fmt.Sprintf("calibrate: %q: want zero or span", o.What)}
	case o.What == "span" && *reference == "":
		return &usageError{"calibrate: span: --reference VALUE is missing: what is really there, from the bottle or another instrument"}
	case o.What == "zero" && *reference != "":
		return &usageError{"calibrate: zero: --reference is for span: a zero is at 0"}
	}
	v, err := where.visit("calibrate")
	if err != nil {
		return err
	}
	row, err := v.channel(ctx, o.Channel)
	if err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	if o.What == "span" {
		if o.Reference, err = referenceIn(row.Unit, *reference); err != nil {
			return err
		}
		if err := o.check(); err != nil {
			return &usageError{"calibrate: " + err.Error()}
		}
	}
	g := newGuide(ctx, c)
	return v.calibrate(ctx, g, o, row.Unit, settleFor)
}

// referenceIn reads what is really there.
func referenceIn(unit, s string) (float64, error) {
	q, known := quantityIn(unit)
	if !known {
		q = sensors.Humidity
	}
	return quantity("reference", s, q)
}

// channel asks for the newest reading of a sensor's channel.
func (v *visit) channel(ctx context.Context, name string) (checkRow, error) {
	var rows []checkRow
	if err := v.get(ctx, "/check", &rows); err != nil {
		return checkRow{}, err
	}
	rows = slices.DeleteFunc(rows, func(r checkRow) bool { return r.Unit == "" }) // outputs measure nothing
	i := slices.IndexFunc(rows, func(r checkRow) bool { return r.Channel == name })
	if i < 0 {
		names := make([]string, len(rows))
		for i, r := range rows {
			names[i] = r.Channel
		}
		return checkRow{}, fmt.Errorf("%s: %w (there are: %s)", name, errUnknownChannel, strings.Join(names, ", "))
	}
	return rows[i], nil
}

func (v *visit) calibrate(ctx context.Context, g *guide, o calOrder, unit string, settle time.Duration) error {
	real := shown(v.cfg, o.Channel, unit, &o.Reference)
	g.say("Calibrating %s: %s at %s.", o.Channel, o.What, real)
	for _, s := range calSteps(o, unit, real) {
		g.say("  - %s", s)
	}
	if err := g.wait(ctx, "Press Enter when that is so; Ctrl-C ends without a change."); err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	for end := time.Now().Add(settle); time.Now().Before(end); {
		row, err := v.channel(ctx, o.Channel)
		if err != nil {
			return fmt.Errorf("calibrate: %w", err)
		}
		value := shown(v.cfg, o.Channel, unit, row.Value)
		if row.Value == nil && row.Fault != nil {
			value = *row.Fault
		}
		g.progress(time.Now(), "%s  %s  (%.0f s more: keep it steady)", o.Channel, value, time.Until(end).Seconds())
		if _, left := g.pause(ctx); left {
			g.say("")
			return fmt.Errorf("calibrate: %w", errLeft)
		}
	}
	var done calRow
	if err := v.post(ctx, "/calibrate", o, &done); err != nil {
		g.say("Not calibrated.")
		return fmt.Errorf("calibrate: %w", err)
	}
	g.say("%s %s: it read %s, now %s.", done.Channel, done.What,
		shown(v.cfg, o.Channel, done.Unit, done.Before), shown(v.cfg, o.Channel, done.Unit, done.After))
	if unit == sensors.CO.Unit() {
		g.say("Now see that the cell answers: charwarden bumptest %s", o.Channel)
	}
	return nil
}

// calSteps are the cautions before a calibration.
func calSteps(o calOrder, unit, real string) []string {
	steps := []string{"Engine off; the daemon refuses while it runs."}
	switch {
	case unit == sensors.CO.Unit() && o.What == "zero":
		return append(steps,
			"Take the cell into clean outdoor air, upwind and far from the rig, exhausts and smoke.",
			"A zero in air with CO in it hides that much CO from then on: when in doubt, do not.",
			"Keep another CO alarm on you: this one does not watch the rig meanwhile.")
	case unit == sensors.CO.Unit():
		return append(steps,
			"Outdoors; take a bottle in date, and the flow and cap that the cell's maker names.",
			fmt.Sprintf("Put %s on the cell and wait until it has settled, 2 minutes or more.", real),
			"Zero it first if that was not done today.")
	case o.What == "zero":
		return append(steps, fmt.Sprintf("See that %s is really at %s: lines open to the air, nothing drawing.", o.Channel, real))
	}
	return append(steps, fmt.Sprintf("Bring %s to %s, by another instrument that you trust.", o.Channel, real))
}
