package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"charwarden/sensors"
	"charwarden/sensors/its90"
	"charwarden/sensors/max31855"
)

// coupleRow is what a thermocouple says; what was not asked is null. emf_mv is
// the voltage between the junctions at temp_c and cold_c (0 degC where null).
type coupleRow struct {
	Type   string   `json:"type"`
	TempC  *float64 `json:"temp_c"`
	EMFmV  *float64 `json:"emf_mv"`
	ColdC  *float64 `json:"cold_c"`
	ChipC  *float64 `json:"chip_c"`
	Faults []string `json:"faults"`
}

func calcCouple(_ context.Context, c *call) error {
	fs := c.flags("calc couple", "calc couple --type K (--temp T | --emf MV | --frame HEX) [--cold T] [--json]")
	letter := fs.String("type", "K", "letter `TYPE`: B E J K N R S T")
	temp := fs.String("temp", "", "hot junction, `degC`, or with a unit")
	emf := fs.String("emf", "", "voltage between the junctions, `mV`, or with a unit")
	cold := fs.String("cold", "", "cold junction, `degC` (default 0)")
	frame := fs.String("frame", "", "32 bits of a MAX31855, `HEX`")
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	row, err := coupleOf(*letter, *temp, *emf, *cold, *frame)
	if err != nil {
		return err
	}
	if *asJSON {
		err = writeJSON(c.out, []coupleRow{row})
	} else {
		err = printCouple(c.out, row)
	}
	if err == nil && len(row.Faults) > 0 {
		err = errNotGood
	}
	return err
}

func coupleOf(letter, temp, emf, cold, frame string) (coupleRow, error) {
	t, err := its90.ParseType(letter)
	if err != nil {
		return coupleRow{}, &usageError{"calc couple: --type: " + err.Error()}
	}
	given := 0
	for _, s := range []string{temp, emf, frame} {
		if s != "" {
			given++
		}
	}
	if given != 1 || frame != "" && cold != "" {
		return coupleRow{}, &usageError{"calc couple: give one of --temp, --emf, --frame (a frame brings its own cold junction)"}
	}
	row := coupleRow{Type: t.String(), Faults: []string{}}
	if frame != "" {
		return row, row.fromFrame(t, frame)
	}
	var coldC float64
	if cold != "" {
		if coldC, err = quantity("cold", cold, sensors.Temperature); err != nil {
			return row, err
		}
	}
	if cold != "" || emf != "" {
		row.ColdC = &coldC
	}
	coldMV, err := t.EMF(coldC)
	if err != nil {
		return row, fmt.Errorf("calc couple: cold junction: %w", err)
	}
	if temp != "" {
		hot, err := quantity("temp", temp, sensors.Temperature)
		if err != nil {
			return row, err
		}
		mv, err := t.EMF(hot)
		if err != nil {
			return row, fmt.Errorf("calc couple: %w", err)
		}
		mv -= coldMV
		row.TempC, row.EMFmV = &hot, &mv
		return row, nil
	}
	mv, err := strconv.ParseFloat(strings.TrimSpace(emf), 64)
	if err != nil {
		v, err := quantity("emf", emf, sensors.Voltage)
		if err != nil {
			return row, err
		}
		mv = 1000 * v
	}
	hot, err := t.Temperature(mv + coldMV)
	if err != nil {
		return row, fmt.Errorf("calc couple: %w", err)
	}
	row.TempC, row.EMFmV = &hot, &mv
	return row, nil
}

// fromFrame decodes a frame. One that is a fault fills in what is still true.
func (row *coupleRow) fromFrame(t its90.Type, hex string) error {
	digits := strings.TrimPrefix(strings.ToLower(strings.ReplaceAll(hex, " ", "")), "0x")
	n, err := strconv.ParseUint(digits, 16, 32)
	if err != nil || len(digits) != 8 {
		return &usageError{fmt.Sprintf("calc couple: --frame: %q: 8 hexadecimal digits are wanted, such as 3E801900", hex)}
	}
	chip, cold, fault, err := max31855.Frame(n).Decode()
	switch {
	case errors.Is(err, max31855.ErrNoChip):
		row.Faults = append(row.Faults, sensors.NoAnswer.String())
		return nil
	case err != nil:
		row.Faults = append(row.Faults, sensors.Checksum.String())
		return nil
	}
	row.ColdC = &cold
	if fault != 0 {
		row.Faults = append(row.Faults, fault.Words()...)
		return nil
	}
	row.ChipC = &chip
	hot, err := max31855.Linearise(t, chip, cold)
	if err != nil {
		row.Faults = append(row.Faults, sensors.OutOfRange.String())
		return nil
	}
	hotMV, errHot := t.EMF(hot)
	coldMV, errCold := t.EMF(cold)
	if err := errors.Join(errHot, errCold); err != nil {
		return fmt.Errorf("calc couple: %w", err)
	}
	mv := hotMV - coldMV
	row.TempC, row.EMFmV = &hot, &mv
	return nil
}

func printCouple(w io.Writer, r coupleRow) error {
	faults := "none"
	if len(r.Faults) > 0 {
		faults = strings.Join(r.Faults, ", ")
	}
	_, err := fmt.Fprintf(w, "type           %s (ITS-90)\nhot junction   %s degC\nbetween them   %s mV\ncold junction  %s degC\nthe chip says  %s degC\nfaults         %s\n",
		r.Type, text(r.TempC, "%.3f"), text(r.EMFmV, "%.4f"), text(r.ColdC, "%.4f"), text(r.ChipC, "%.2f"), faults)
	return err
}
