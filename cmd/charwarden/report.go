package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"charwarden/cmd/internal/report"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// writeReport makes the report of one run, or of several side by side.
func writeReport(_ context.Context, c *call) error {
	fs := c.flags("report", "report RUN|last [RUN ...] -o FILE.html [-c FILE | --dir DIR]")
	where := addLogFlags(fs)
	out := fs.String("o", "", "the `FILE.html` to write")
	words, err := c.words(fs, flagsAnywhere, flagsAnywhere, "RUN")
	if err != nil {
		return err
	}
	if *out == "" {
		return &usageError{"report: -o FILE.html is missing"}
	}
	dir, cfg, err := where.open("report")
	if err != nil {
		return err
	}
	files, err := openRuns(dir, words)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	defer closeRuns(files)
	o := report.Opts{Zone: time.Local, Now: time.Now(), Version: release}
	for _, f := range files {
		own, err := configOf(f)
		if err != nil { // an older or newer charwarden's: shown by quantities
			fmt.Fprintf(c.err, "charwarden: report: without limits and places of run %d: %v\n", f.Meta().Number, err)
			o.Rigs = append(o.Rigs, report.Rig{})
			continue
		}
		o.Rigs = append(o.Rigs, rigOf(own))
		if cfg == nil {
			cfg = own
		}
	}
	if cfg != nil {
		o.Units = unitsOf(cfg.Display)
	}
	if err := wholeFile(*out, func(w io.Writer) error { return report.Write(w, files, o) }); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s: open it in any browser; it needs no network\n", *out)
	return err
}

// configOf is the configuration that a run had.
func configOf(f *runlog.File) (*config.Config, error) {
	snapshots, err := f.Snapshots()
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("configuration of run %d", f.Meta().Number)
	for _, s := range snapshots {
		if s.What == "configuration" {
			return config.Parse(name, []byte(s.Text))
		}
	}
	return nil, errors.New(name + ": the file has none")
}

// rigOf says what the channels of a configuration are for.
func rigOf(cfg *config.Config) report.Rig {
	r := cfg.Roles
	rig := report.Rig{Walls: r.Walls, GasOut: r.GasOut, FilterIn: r.FilterIn, FilterOut: r.FilterOut,
		Return: r.Return, Suction: r.Suction, FilterDrop: r.FilterDrop, Speed: r.Speed}
	for _, co := range cfg.COs {
		rig.CO = append(rig.CO, co.Channel)
	}
	for i := range cfg.Rules {
		l := &cfg.Rules[i]
		rig.Limits = append(rig.Limits, report.Limit{Alarm: l.Name, Channel: l.Channel, Priority: l.Priority.String(),
			Kind: l.Kind.String(), Limit: l.Limit, Means: l.Means})
	}
	return rig
}

// unitsOf are the units that people chose.
func unitsOf(d config.Display) report.Units {
	of := func(q sensors.Quantity) report.Unit {
		name, factor, zero := d.Scale(q)
		return report.Unit{Name: name, Factor: factor, Zero: zero}
	}
	return report.Units{Temperature: of(sensors.Temperature), Pressure: of(sensors.Pressure), Mass: of(sensors.Mass)}
}
