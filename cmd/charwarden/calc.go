package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"charwarden/config"
	"charwarden/sensors"
)

// calc reckons at the bench with the daemon's own functions.
func calc(ctx context.Context, c *call) error {
	if len(c.args) > 0 {
		what := &call{args: c.args[1:], out: c.out, err: c.err}
		switch c.args[0] {
		case "couple":
			return calcCouple(ctx, what)
		case "exposure":
			return calcExposure(ctx, what)
		}
	}
	return &usageError{"calc: say what: couple or exposure (`charwarden calc couple -h` shows the flags of one)"}
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
