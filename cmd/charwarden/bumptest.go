package main

import (
	"context"
	"fmt"
	"net/url"
	"time"

	"charwarden/sensors"
)

// bumpTest leads a person through a test of a CO channel with gas.
func bumpTest(ctx context.Context, c *call) error {
	fs := c.flags("bumptest", "bumptest [-c FILE | --socket PATH] CHANNEL [--ppm N]")
	where := addVisitFlags(fs)
	strength := fs.String("ppm", "", "how strong the gas is, `N` ppm (default: not known)")
	words, err := c.words(fs, flagsAnywhere, 0, "CHANNEL")
	if err != nil {
		return err
	}
	o := testOrder{Channel: words[0]}
	if *strength != "" {
		if o.PPM, err = quantity("ppm", *strength, sensors.CO); err != nil {
			return err
		}
		if err := o.check(); err != nil || o.PPM == 0 {
			return &usageError{fmt.Sprintf("bumptest: --ppm: %q: want the strength of the gas, above 0", *strength)}
		}
	}
	v, err := where.visit("bumptest")
	if err != nil {
		return err
	}
	row, err := v.channel(ctx, o.Channel)
	if err == nil && row.Unit != sensors.CO.Unit() {
		err = fmt.Errorf("%s measures %s: only a CO channel is tested with gas", o.Channel, row.Unit)
	}
	if err != nil {
		return fmt.Errorf("bumptest: %w", err)
	}
	return v.bumpTest(ctx, newGuide(ctx, c), o)
}

func (v *visit) bumpTest(ctx context.Context, g *guide, o testOrder) error {
	g.say("Bump test of %s: does gas reach the cell, and does it alarm?", o.Channel)
	for _, s := range []string{
		"Outdoors and upwind, engine off, the cell in clean air far from the rig.",
		"Keep another CO alarm on you: what this channel raises during the test counts as test.",
		"Have the gas ready, closed. The horn will sound.",
	} {
		g.say("  - %s", s)
	}
	if err := g.wait(ctx, "Press Enter to begin; Ctrl-C ends."); err != nil {
		return fmt.Errorf("bumptest: %w", err)
	}
	var row testRow
	if err := v.post(ctx, "/bumptest/start", o, &row); err != nil {
		return fmt.Errorf("bumptest: %w", err)
	}
	row, err := v.watchTest(ctx, g, o, row)
	if err != nil {
		return fmt.Errorf("bumptest: %w", err)
	}
	peak := shown(v.cfg, o.Channel, row.Unit, row.Peak)
	if !row.Passed {
		g.say("FAILED: the most that it read is %s. Do not rely on this channel: calibrate it, and replace the cell if it fails again.", peak)
		return errNotGood
	}
	g.say("Passed: the most that it read is %s.", peak)
	return nil
}

// watchTest shows a running test until the gas has come and gone, the person
// presses Enter, or the daemon ends it. Whatever happens, it ends the test.
func (v *visit) watchTest(ctx context.Context, g *guide, o testOrder, row testRow) (testRow, error) {
	g.say("Gas on now. Enter ends the test; the daemon ends it after %s.", leftText(testLength.Seconds()))
	passed := false
	for {
		g.progress(time.Now(), "%s", testProgress(v, o, &row))
		if row.Passed && !passed {
			passed = true
			g.say("It answers. Gas off: take it away; the test ends when the cell has been clear for a minute.")
		}
		if !row.Running {
			return row, nil
		}
		entered, left := g.pause(ctx)
		if entered || left || passed && row.Clear {
			return v.endTest(ctx, o)
		}
		if err := v.get(ctx, "/bumptest?channel="+url.QueryEscape(o.Channel), &row); err != nil {
			v.endTest(ctx, o) // if it can still be reached; else its time ends it
			return row, err
		}
	}
}

// testProgress is where a running test stands, in a line.
func testProgress(v *visit, o testOrder, row *testRow) string {
	value := shown(v.cfg, o.Channel, row.Unit, row.Value)
	if row.Value == nil {
		value = row.Status
	}
	return fmt.Sprintf("%s  %s  highest %s  %s left", o.Channel, value, shown(v.cfg, o.Channel, row.Unit, row.Peak), leftText(row.LeftS))
}

// endTest ends the test even when the command was told to stop: nothing may
// go on counting as a test. One that the daemon has ended is as good.
func (v *visit) endTest(ctx context.Context, o testOrder) (testRow, error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), askLimit)
	defer cancel()
	var row testRow
	err := v.post(ctx, "/bumptest/end", o, &row)
	return row, err
}
