package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/blast"
)

// filled tells the daemon what was put into the hopper.
func filled(ctx context.Context, c *call) error {
	return c.kilograms(ctx, "filled", "added", "what was put in")
}

// weighed tells the daemon what is in the hopper.
func weighed(ctx context.Context, c *call) error {
	return c.kilograms(ctx, "weighed", "in it", "what is in hopper and bed now, 0 for empty")
}

func (c *call) kilograms(ctx context.Context, verb, how, what string) error {
	v, words, err := c.visitWith(verb, "KILOGRAMS  ("+what+")", flagsAnywhere, 0, "KILOGRAMS")
	if err != nil {
		return err
	}
	kg, err := quantity("kilograms", words[0], sensors.Mass)
	if err != nil {
		return err
	}
	o := massOrder{kg}
	if err := o.check(); err != nil {
		return &usageError{verb + ": " + err.Error()}
	}
	var row hopperRow
	if err := v.post(ctx, "/"+verb, o, &row); err != nil {
		return fmt.Errorf("%s: %w", verb, err)
	}
	fmt.Fprintf(c.out, "hopper: %s %s; reckoned to hold %s\n", v.mass(kg), how, v.massOrNone(row.Left))
	return nil
}

// mass is kg as this person wants to read them.
func (v *visit) mass(kg float64) string {
	if v.cfg == nil {
		return fmt.Sprintf("%.2f kg", kg)
	}
	return v.cfg.Display.FormatMass(kg)
}

func (v *visit) massOrNone(kg *float64) string {
	if kg == nil {
		return "no value"
	}
	return v.mass(*kg)
}

// cleaned tells the daemon that the filter is new or cleaned.
func cleaned(ctx context.Context, c *call) error {
	v, _, err := c.visitWith("cleaned", "  (the filter: it is learned anew in the next run)", flagsAnywhere, 0)
	if err != nil {
		return err
	}
	if err := v.post(ctx, "/cleaned", bare{}, nil); err != nil {
		return fmt.Errorf("cleaned: %w", err)
	}
	fmt.Fprintln(c.out, "filter: taken as clean; what it resists is learned in the next minutes of running")
	return nil
}

// holdTest leads a person through a test of all seals.
func holdTest(ctx context.Context, c *call) error {
	v, _, err := c.visitWith("holdtest", "", flagsAnywhere, 0)
	if err != nil {
		return err
	}
	g := newGuide(ctx, c)
	g.say("Hold test: does the closed rig keep its suction?")
	for _, s := range []string{
		"Cold rig, outdoors, engine off.",
		"Shut nozzle, return, lid and drains. Draw with the blower until the suction is 300 Pa or more, then shut the outlet and stop the blower.",
		"The suction's tube is free and dry.",
	} {
		g.say("  - %s", s)
	}
	if err := g.wait(ctx, "Press Enter when that is so; Ctrl-C ends."); err != nil {
		return fmt.Errorf("holdtest: %w", err)
	}
	var row holdRow
	if err := v.post(ctx, "/holdtest/start", bare{}, &row); err != nil {
		return fmt.Errorf("holdtest: %w", err)
	}
	for row.Running {
		g.progress(time.Now(), "suction %s, begun at %s", paOrNone(row.Now), paOrNone(row.Begun))
		entered, left := g.pause(ctx)
		if entered || left {
			stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), askLimit)
			err := v.post(stop, "/holdtest/end", bare{}, &row)
			cancel()
			if err != nil {
				return fmt.Errorf("holdtest: %w", err)
			}
			break
		}
		if err := v.get(ctx, "/holdtest", &row); err != nil {
			return fmt.Errorf("holdtest: %w", err)
		}
	}
	g.say("%s", row.Verdict)
	if row.Leak == nil || !row.Tight {
		return errNotGood
	}
	return nil
}

func paOrNone(v *float64) string {
	if v == nil {
		return "no value"
	}
	return fmt.Sprintf("%.0f Pa", *v)
}

// fire shows the gas that is expected now, and what more return would do to it.
func fire(ctx context.Context, c *call) error {
	fs := c.flags("fire", "fire [-c FILE | --socket PATH] [--json]")
	where := addVisitFlags(fs)
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	v, err := where.visit("fire")
	if err != nil {
		return err
	}
	var rows []fireRow
	if err := v.get(ctx, "/fire", &rows); err != nil {
		return fmt.Errorf("fire: %w", err)
	}
	if *asJSON {
		return writeJSON(c.out, rows)
	}
	r := rows[0]
	fmt.Fprintf(c.out, "bed's exit        %s degC\ngas               %s MJ/Nm3, needs %s of its volume of air\nat the shaft      %s W\n",
		text(r.BedExit, "%.0f"), text(r.GasHeat, "%.2f"), text(r.AirNeed, "%.2f"), text(r.Shaft, "%.0f"))
	if r.Margin == nil {
		fmt.Fprintln(c.out, "return            nothing to say while no gas is made")
		return nil
	}
	fmt.Fprintf(c.out, "return            %.0f %% of the blast, by the configuration\n", 100**r.Return)
	fmt.Fprintf(c.out, "%.0f %% more of it    bed %+.0f K, gas %+.1f %%, power %+.1f %%\n", 100**r.Step, *r.BedChange, *r.HeatChange, *r.PowerChange)
	switch r.Side {
	case blast.Strong.String():
		fmt.Fprintf(c.out, "the fire is strong: it bears %.0f %% more before its gas fades\n", 100**r.Margin)
	case blast.NearQuenching.String():
		fmt.Fprintln(c.out, "the fire is near quenching: one step more and its gas fades")
	default:
		fmt.Fprintln(c.out, "the fire is quenched: less return, drier charcoal or more load")
	}
	fmt.Fprintln(c.out, "\nReckoned, not measured: move the valve in small steps, wait minutes, and believe the walls and the engine.")
	return nil
}

// why lists what may be wrong with the rig, and what speaks for and against it.
func why(ctx context.Context, c *call) error {
	fs := c.flags("why", "why [-c FILE | --socket PATH] [--json]")
	where := addVisitFlags(fs)
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	v, err := where.visit("why")
	if err != nil {
		return err
	}
	var rows []causeRow
	if err := v.get(ctx, "/why", &rows); err != nil {
		return fmt.Errorf("why: %w", err)
	}
	if *asJSON {
		return writeJSON(c.out, rows)
	}
	var b strings.Builder
	for i, r := range rows {
		if i > 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "%s: %s\n", strings.ReplaceAll(r.Certainty, "_", " "), r.Means)
		for _, s := range r.For {
			fmt.Fprintf(&b, "  for      %s\n", s)
		}
		for _, s := range r.Against {
			fmt.Fprintf(&b, "  against  %s\n", s)
		}
		if r.DoFirst != nil {
			fmt.Fprintf(&b, "  first    %s\n", *r.DoFirst)
		}
	}
	if len(rows) == 0 {
		b.WriteString("nothing is out of this rig's ordinary, as far as its channels show\n")
	}
	b.WriteString("\nAdvice reckoned from the channels, not a finding: look before you act, and alarms come first.\n")
	_, err = c.out.Write([]byte(b.String()))
	return err
}
