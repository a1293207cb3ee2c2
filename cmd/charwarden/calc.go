package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"charwarden/config"
	"charwarden/sensors"
)

// calc reckons at the bench with the daemon's own functions.
func calc(ctx context.Context, c *call) error {
	if len(c.args) > 0 {
		switch c.args[0] {
		case "help", "-h", "-help", "--help":
			return calcHelp(c)
		}
		what := &call{args: c.args[1:], out: c.out, err: c.err}
		switch c.args[0] {
		case "couple":
			return calcCouple(ctx, what)
		case "exposure":
			return calcExposure(ctx, what)
		}
		for _, s := range sheets() {
			if s.name == c.args[0] {
				return s.run(ctx, what)
			}
		}
	}
	return &usageError{"calc: say what: couple, exposure, hearth, engine, filter, fuel, cooldown or nozzle (`charwarden calc couple -h` shows the flags of one)"}
}

func calcHelp(c *call) error {
	var b strings.Builder
	line := func(name, does string) { fmt.Fprintf(&b, "  charwarden calc %-9s %s\n", name, does) }
	line("couple", "A thermocouple's voltage and temperature, and what a MAX31855 says of it.")
	line("exposure", "What CO in the air does to a person.")
	for _, s := range sheets() {
		line(s.name, s.does)
	}
	b.WriteString("\n`charwarden calc couple -h` shows the flags of one.\n")
	_, err := io.WriteString(c.out, b.String())
	return err
}

// sheets are the calculations that can be swept and drawn.
func sheets() []*sheet {
	return []*sheet{hearthSheet, engineSheet, filterSheet, fuelSheet, cooldownSheet, nozzleSheet}
}

// quantity reads a flag: a plain number in q's own unit, or one with a unit.
func quantity(flag, s string, q sensors.Quantity) (float64, error) {
	if v, err := strconv.ParseFloat(strings.TrimSpace(s), 64); err == nil {
		return v, nil
	}
	v, err := config.ParseQuantity(s, q)
	if err != nil {
		return 0, &usageError{fmt.Sprintf("--%s: %v", flag, err)}
	}
	return v, nil
}

// text shows a number that may be missing.
func text(v *float64, format string) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf(format, *v)
}
