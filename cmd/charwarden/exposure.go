package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
)

// exposureRow is what an exposure does; the means are peaks, with 0 ppm before
// the start.
type exposureRow struct {
	COHb    float64 `json:"cohb_percent"`
	Linear  float64 `json:"cohb_linear_percent"`
	TWA     float64 `json:"twa_8h_ppm"`
	STEL    float64 `json:"stel_15min_ppm"`
	Mean5   float64 `json:"mean_5min_ppm"`
	Minutes float64 `json:"minutes"`

	work            exposure.Work
	stelAt, mean5At float64 // minute of the peak
}

func calcExposure(_ context.Context, c *call) error {
	fs := c.flags("calc exposure", "calc exposure (--ppm P --minutes M | --leak L --air A [--share S] --minutes M | --profile FILE.csv [--minutes END]) [--work WORK] [--start-cohb PERCENT] [--json]")
	ppm := fs.String("ppm", "", "CO in the air, `ppm`, 0 to 1000000")
	leak := fs.String("leak", "", "instead of --ppm: gas that leaks where you stand, `L/min`, 0 to 1000")
	air := fs.String("air", "", "fresh air that it mixes with, `m3/min`, 0 to 100000")
	share := fs.String("share", "30", "CO in that gas, `percent` by volume, 0 to 100")
	minutes := fs.String("minutes", "", "how long, `minutes`, 0 to 100000, or with a unit (8h); with a profile its end (default its last row)")
	profile := fs.String("profile", "", "`FILE` with the columns minute,ppm: each row holds until the next")
	work := fs.String("work", "moderate", "`WORK`, for the breathing: rest light moderate heavy very_heavy")
	start := fs.String("start-cohb", strconv.FormatFloat(exposure.StartCOHb, 'g', -1, 64), "COHb at the start, `percent`, 0 to 99; smokers have up to 10")
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	if *leak != "" || *air != "" {
		if err := dilute(ppm, *leak, *share, *air); err != nil {
			return err
		}
	}
	row, err := exposureOf(*ppm, *minutes, *profile, *work, *start)
	if err != nil {
		return err
	}
	if *asJSON {
		return writeJSON(c.out, []exposureRow{row})
	}
	return printExposure(c.out, row)
}

// dilute sets ppm to what a leak makes in fresh air.
func dilute(ppm *string, leak, share, air string) error {
	if *ppm != "" || leak == "" || air == "" {
		return &usageError{"calc exposure: give --leak and --air together, and neither with --ppm"}
	}
	litres, err := unitless("leak", leak, 1000)
	if err != nil {
		return err
	}
	percent, err := unitless("share", share, 100)
	if err != nil {
		return err
	}
	cubic, err := unitless("air", air, 1e5)
	if err != nil {
		return err
	}
	*ppm = strconv.FormatFloat(exposure.Diluted(litres/1000, percent/100, cubic), 'g', -1, 64)
	return nil
}

// unitless reads a flag that is a plain number within 0 and most.
func unitless(flag, s string, most float64) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= 0 && v <= most) {
		return 0, &usageError{fmt.Sprintf("calc exposure: --%s: %q: a plain number within 0 and %.0f is wanted", flag, s, most)}
	}
	return v, nil
}

func exposureOf(ppm, minutes, file, work, start string) (exposureRow, error) {
	if (ppm == "") == (file == "") || ppm != "" && minutes == "" {
		return exposureRow{}, &usageError{"calc exposure: give --ppm and --minutes, or --profile FILE.csv"}
	}
	w, err := exposure.ParseWork(work)
	if err != nil {
		return exposureRow{}, &usageError{"calc exposure: --work: " + err.Error()}
	}
	startCOHb, err := bounded("start-cohb", start, sensors.COHb, 1, 99)
	if err != nil {
		return exposureRow{}, err
	}
	var end float64
	if minutes != "" {
		if end, err = bounded("minutes", minutes, sensors.Age, 60, exposure.MaxMinutes); err != nil {
			return exposureRow{}, err
		}
	}
	var p exposure.Profile
	if file == "" {
		v, err := bounded("ppm", ppm, sensors.CO, 1, exposure.MaxPPM)
		if err != nil {
			return exposureRow{}, err
		}
		p = exposure.Constant(v, end)
	} else {
		if p, err = profileOf(file); err != nil {
			return exposureRow{}, err
		}
		if minutes != "" {
			p.End = end
		}
	}
	row := exposureRow{
		COHb: p.COHb(w, startCOHb), Linear: p.Linear(exposure.HeavyB, startCOHb),
		TWA: p.TWA8h(), Minutes: p.End, work: w,
	}
	row.STEL, row.stelAt = p.Peak(15)
	row.Mean5, row.mean5At = p.Peak(5)
	return row, nil
}

func profileOf(file string) (exposure.Profile, error) {
	f, err := os.Open(file)
	if err != nil {
		return exposure.Profile{}, fmt.Errorf("calc exposure: %w", err)
	}
	defer f.Close()
	return exposure.ParseProfile(file, f)
}

// bounded reads a flag: a plain number, or one with a unit of q, each flag's
// own unit being so many of q's. It is within 0 and most.
func bounded(flag, s string, q sensors.Quantity, unit, most float64) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		v, err = config.ParseQuantity(s, q)
		v /= unit
	}
	if err != nil {
		return 0, &usageError{fmt.Sprintf("calc exposure: --%s: %v", flag, err)}
	}
	if !(v >= 0 && v <= most) {
		return 0, &usageError{fmt.Sprintf("calc exposure: --%s: %s: must be within 0 and %.0f", flag, s, most)}
	}
	return v, nil
}

func printExposure(w io.Writer, r exposureRow) error {
	_, err := fmt.Fprintf(w, `exposure             %.6g min
COHb at the end      %.2f %% (CFK, %s work)
                     %.2f %% (linear NIOSH/UL form, B %.4f: reads high)
sum over 8 h         %.2f ppm (C·t / 480 min)
highest 15-min mean  %.2f ppm, at %.6g min
highest 5-min mean   %.2f ppm, at %.6g min

COHb here is the estimate of a model, not a blood test: +-30 %% at best, and a
small body or anaemia takes up more. Headache or dizziness: out, into the open
air, and medical help, whatever the figure.
`, r.Minutes, r.COHb, strings.ReplaceAll(r.work.String(), "_", " "), r.Linear, exposure.HeavyB,
		r.TWA, r.STEL, r.stelAt, r.Mean5, r.mean5At)
	return err
}
