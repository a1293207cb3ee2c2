package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
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
	var err error
	if unit == sensors.CO.Unit() && o.What == "span" {
		err = v.spanWithGas(ctx, g, o, real, settle)
	} else if err = g.wait(ctx, "Press Enter when that is so; Ctrl-C ends without a change."); err == nil {
		err = v.settleAndOrder(ctx, g, o, unit, settle)
	}
	if err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	if unit == sensors.CO.Unit() && o.What == "zero" {
		g.say("Now see that the cell answers: charwarden bumptest %s", o.Channel)
	}
	return nil
}

// settleAndOrder shows the channel for as long as the daemon averages, then has
// it calibrate.
func (v *visit) settleAndOrder(ctx context.Context, g *guide, o calOrder, unit string, settle time.Duration) error {
	for end := time.Now().Add(settle); time.Now().Before(end); {
		row, err := v.channel(ctx, o.Channel)
		if err != nil {
			return err
		}
		value := shown(v.cfg, o.Channel, unit, row.Value)
		if row.Value == nil && row.Fault != nil {
			value = *row.Fault
		}
		g.progress(time.Now(), "%s  %s  (%.0f s more: keep it steady)", o.Channel, value, time.Until(end).Seconds())
		if _, left := g.pause(ctx); left {
			g.say("")
			return errLeft
		}
	}
	var done calRow
	if err := v.post(ctx, "/calibrate", o, &done); err != nil {
		g.say("Not calibrated.")
		return err
	}
	g.say("%s %s: it read %s, now %s.", done.Channel, done.What,
		shown(v.cfg, o.Channel, done.Unit, done.Before), shown(v.cfg, o.Channel, done.Unit, done.After))
	return nil
}

// errTestOver ends a span for which the gas took too long.
var errTestOver = errors.New("the time in which the gas counts as a test is over: nothing was changed; gas off, and begin anew")

// spanWithGas spans a cell inside a bump test: the alarm that the gas raises would
// else stand, and nothing is calibrated while one stands.
func (v *visit) spanWithGas(ctx context.Context, g *guide, o calOrder, real string, settle time.Duration) error {
	if err := g.wait(ctx, "Press Enter to begin; Ctrl-C ends without a change."); err != nil {
		return err
	}
	test := testOrder{o.Channel, o.Reference}
	var row testRow
	if err := v.post(ctx, "/bumptest/start", test, &row); err != nil {
		return err
	}
	g.say("Gas on now: put %s on the cell. Press Enter when it has settled, 2 minutes or more; Ctrl-C ends without a change.", real)
	err := v.await(ctx, g, test, &row, func(entered bool) bool { return entered })
	if err == nil {
		err = v.settleAndOrder(ctx, g, o, row.Unit, settle)
	}
	if err != nil {
		v.endTest(ctx, test) // if it can still be reached; else its time ends it
		return err
	}
	g.say("Gas off: take it away; the test of its alarms ends when the cell has been clear for a minute.")
	err = v.await(ctx, g, test, &row, func(entered bool) bool { return entered || row.Clear })
	if errors.Is(err, errTestOver) {
		return nil // the daemon has ended it
	}
	_, ended := v.endTest(ctx, test)
	if err == nil || errors.Is(err, errLeft) { // what is done is done
		err = ended
	}
	return err
}

// await shows a running test until done.
func (v *visit) await(ctx context.Context, g *guide, o testOrder, row *testRow, done func(entered bool) bool) error {
	for {
		g.progress(time.Now(), "%s", testProgress(v, o, row))
		entered, left := g.pause(ctx)
		if left {
			return errLeft
		}
		if err := v.get(ctx, "/bumptest?channel="+url.QueryEscape(o.Channel), row); err != nil {
			return err
		}
		switch {
		case done(entered):
			return nil
		case !row.Running:
			return errTestOver
		}
	}
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
			"Outdoors and upwind, the cell far from the rig; zero it first if that was not done today.",
			fmt.Sprintf("Take a bottle of %s in date, and the flow and cap that the cell's maker names.", real),
			"Keep another CO alarm on you: what this channel raises meanwhile counts as a test.",
			fmt.Sprintf("Have the gas ready, closed. The horn will sound. It must be done within %s.", leftText(testLength.Seconds())))
	case o.What == "zero":
		return append(steps, fmt.Sprintf("See that %s is really at %s: lines open to the air, nothing drawing.", o.Channel, real))
	}
	return append(steps, fmt.Sprintf("Bring %s to %s, by another instrument that you trust.", o.Channel, real))
}
