package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"
)

// A sheet is one calculation of the bench that can be swept and drawn.
type sheet struct {
	name  string // after calc
	usage string // the flags in short
	does  string
	knobs []knob
	solve func(*settings) (answer, error)

	panels []panel
	// axis is the flag along which a figure without a sweep goes, between the
	// ends that span gives in the base unit; "" if only a sweep makes sense.
	axis string
	span func(*settings) (from, to float64)
}

// knob is a flag of a sheet.
type knob struct {
	flag, key string   // key: in JSON, where it is swept and the answer has it not
	name      string   // for people
	in        *measure // nil: not a number
	value     string   // as if written, where it is not given; "" is no value
	low, high float64  // allowed, in the base unit; both 0: solve knows
	help      string   // with what stands for the value in `back quotes`
}

// settings are what the knobs are set to.
type settings struct {
	number map[string]float64 // by flag, in the base unit
	word   map[string]string
	given  map[string]bool // on the command line
}

// of is the number of a flag that has a default or was asked for by need.
func (s *settings) of(flag string) float64 { return s.number[flag] }

// has says that a flag has a number or a word.
func (s *settings) has(flag string) bool {
	_, ok := s.number[flag]
	return ok || s.word[flag] != ""
}

// with is s with one number changed.
func (s *settings) with(flag string, v float64) *settings {
	c := &settings{number: make(map[string]float64, len(s.number)), word: s.word, given: s.given}
	for k, n := range s.number {
		c.number[k] = n
	}
	c.number[flag] = v
	return c
}

// flagError is a flag whose value cannot be; the sheet's name goes before it.
type flagError struct{ flag, text string }

func (e *flagError) Error() string { return "--" + e.flag + " " + e.text }

// need returns an error for the first flag that has no value.
func (s *settings) need(flags ...string) error {
	for _, f := range flags {
		if !s.has(f) {
			return &flagError{f, "is missing"}
		}
	}
	return nil
}

func (s *sheet) knob(flag string) *knob {
	for i := range s.knobs {
		if s.knobs[i].flag == flag {
			return &s.knobs[i]
		}
	}
	return nil
}

// check holds a value against the knob's own bounds.
func (k *knob) check(v float64) error {
	if (k.low != 0 || k.high != 0) && !(v >= k.low && v <= k.high) {
		return &flagError{k.flag, fmt.Sprintf("%s: out of range (allowed: %s)", k.in.text(v), k.bounds(k.low, k.high))}
	}
	return nil
}

// bounds shows a range of the base unit.
func (k *knob) bounds(low, high float64) string {
	return strings.TrimSpace(fmt.Sprintf("%g to %g %s", k.in.plain(low), k.in.plain(high), k.in.unit))
}

// run is the command.
func (s *sheet) run(_ context.Context, c *call) error {
	fs := c.flags("calc "+s.name, "calc "+s.name+" "+s.usage+" [--sweep FLAG=A..B/N] [--plot FILE.svg|png] [--json]\n"+s.does)
	written := make([]*string, len(s.knobs))
	for i, k := range s.knobs {
		written[i] = fs.String(k.flag, k.value, k.help)
	}
	along := fs.String("sweep", "", "`FLAG=A..B/N`: that flag from A to B in N points, one row each")
	file := fs.String("plot", "", "draw it into `FILE`, .svg or .png; an old one is replaced")
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	err := s.reckon(c, fs, written, *along, *file, *asJSON)
	var wrong *flagError
	if errors.As(err, &wrong) {
		return &usageError{fmt.Sprintf("calc %s: %v", s.name, err)}
	}
	return err
}

func (s *sheet) reckon(c *call, fs *flag.FlagSet, written []*string, along, file string, asJSON bool) error {
	set := &settings{number: map[string]float64{}, word: map[string]string{}, given: map[string]bool{}}
	fs.Visit(func(f *flag.Flag) { set.given[f.Name] = true })
	for i := range s.knobs {
		if err := s.knobs[i].read(*written[i], set); err != nil {
			return err
		}
	}
	if err := figureName(file); err != nil {
		return err
	}
	if along != "" {
		return s.sweep(c, set, along, file, asJSON)
	}
	if file != "" && s.axis == "" {
		return &flagError{"plot", file + ": add --sweep FLAG=A..B/N, such as --sweep " + s.example() + ": a figure needs an axis"}
	}
	a, err := s.solve(set)
	if err != nil {
		return err
	}
	if file != "" {
		if err := s.drawAlong(set, &a, file); err != nil {
			return err
		}
	}
	if asJSON {
		return writeJSON(c.out, []cells{a.cells})
	}
	return a.print(c.out)
}

// read takes what is written on a flag.
func (k *knob) read(s string, set *settings) error {
	switch {
	case s == "" && set.given[k.flag]:
		return &flagError{k.flag, "is empty"}
	case s == "":
		return nil
	case k.in == nil:
		set.word[k.flag] = s
		return nil
	}
	v, err := k.in.parse(s)
	if err != nil {
		return &flagError{k.flag, err.Error()}
	}
	set.number[k.flag] = v
	return k.check(v)
}
