// Package report makes the report of one or several runs: one HTML file that
// needs no network, no font and no script, for a phone, a desk and a printer.
//
// What the log does not hold is said to be missing. A gap in the readings is a
// gap in the picture, and two runs differ only where their difference is larger
// than what both are uncertain by.
package report

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"charwarden/cmd/internal/runlog"
)

// Unit is how people see a quantity: stored*Factor + Zero is shown, with Name
// behind it. The zero Unit shows what is stored, in its own unit.
type Unit struct {
	Name         string // "°F", "kPa", "lb"
	Factor, Zero float64
}

// Units are the quantities of which people choose the unit. They are stored in
// degC, Pa and kg.
type Units struct{ Temperature, Pressure, Mass Unit }

// Limit is one rule of the configuration that a run had.
type Limit struct {
	Alarm, Channel string
	Priority       string // "notice", "caution", "alarm" or "evacuate"
	Kind           string // as in the configuration: "above" and "below" are drawn
	Limit          float64
	Means          string // for the person; "" is left out
}

// Rig says what the channels of a run are for. What is "" or nil is not fitted.
// A run without any of it is shown by the quantities of its channels.
type Rig struct {
	Walls, CO                   []string
	GasOut, FilterIn, FilterOut string
	Return, Suction, FilterDrop string
	Speed                       string
	Limits                      []Limit
}

// none says that no role is told.
func (r *Rig) none() bool {
	return len(r.Walls) == 0 && r.GasOut+r.FilterIn+r.FilterOut+r.Return+r.Suction+r.FilterDrop+r.Speed == ""
}

// Opts of a report.
type Opts struct {
	Rigs    []Rig // of the runs, in their order
	Units   Units
	Zone    *time.Location // that times are shown in; nil: UTC
	Now     time.Time      // when it is made
	Version string         // of what makes it
}

// Write reads the runs and writes their report. The same runs and Opts give the
// same bytes.
func Write(w io.Writer, runs []*runlog.File, o Opts) error {
	if len(runs) == 0 {
		return errors.New("report: no run: name at least one, by its number, or last")
	}
	all := make([]*run, len(runs))
	errs := make([]error, len(runs))
	done := make(chan struct{})
	for i, f := range runs {
		var rig Rig
		if i < len(o.Rigs) {
			rig = o.Rigs[i]
		}
		go func() {
			all[i], errs[i] = load(context.Background(), f, rig)
			done <- struct{}{}
		}()
	}
	for range runs {
		<-done
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return write(w, all, o)
}

// write makes the page of what was read.
func write(w io.Writer, runs []*run, o Opts) error {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	for i, r := range runs {
		r.words, r.letter = words{o.Units, o.Zone}, ""
		for j, other := range runs {
			if j != i && other.meta.Number == r.meta.Number { // of two rigs, or boards
				r.letter = fmt.Sprintf("%c", 'a'+i%26)
			}
		}
	}
	buf := bufio.NewWriter(w)
	p := &page{w: buf, words: words{o.Units, o.Zone}, opts: o}
	p.all(runs)
	if err := buf.Flush(); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}
