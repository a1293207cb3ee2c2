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
	name    string // after calc
	usage   string // the flags in short
	does    string
	heading string // of its figure
	sample  string // a sweep that makes sense, for errors
	knobs   []knob
	solve   func(*settings) (outcome, error)

	panels []panel
	// draw makes the figure without a sweep; nil if only a sweep makes sense.
	draw func(*sheet, *settings, *outcome) (*chart, error)
}

// knob is a flag of a sheet.
type knob struct {
	flag, key string   // key: in JSON, where it is swept and the answer has it not
	name      string   // for people
	in        *measure // nil: not a number
	value     string   // as if written, where it is not given; "" is no value
	low, high float64  // allowed, in the base unit; both 0: solve knows
	share     bool     // may be written in % of something: then of(flag + "%") is that fraction
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

func (s *sheet) knob(flag string) *knob { return knobOf(s.knobs, flag) }

func knobOf(knobs []knob, flag string) *knob {
	for i := range knobs {
		if knobs[i].flag == flag {
			return &knobs[i]
		}
	}
	return nil
}

// check holds a value against the knob's own bounds.
func (k *knob) check(v float64) error {
	if (k.low != 0 || k.high != 0) && !(v >= k.low && v <= k.high) {
		return k.outside(v, k.low, k.high)
	}
	return nil
}

// outside says that a value, in the base unit as its bounds, is out of range.
func (k *knob) outside(v, low, high float64) error {
	may := strings.TrimSpace(fmt.Sprintf("%.6g to %.6g %s", k.in.plain(low), k.in.plain(high), k.in.unit))
	return &flagError{k.flag, fmt.Sprintf("%s: out of range (allowed: %s)", k.in.text(v), may)}
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
	if err == nil {
		return nil
	}
	err = fmt.Errorf("calc %s: %w", s.name, err)
	var wrong *flagError
	if errors.As(err, &wrong) {
		return &usageError{err.Error()}
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
	if file != "" && s.draw == nil {
		return &flagError{"plot", file + ": add --sweep FLAG=A..B/N, such as --sweep " + s.sample + ": a figure needs an axis"}
	}
	a, err := s.solve(set)
	if err != nil {
		return err
	}
	if file != "" {
		fig, err := s.draw(s, set, &a)
		if err == nil {
			err = fig.write(file)
		}
		if err != nil {
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
	case k.share && strings.HasSuffix(s, "%"):
		v, err := inFraction.parse(s)
		if err == nil && !(v >= 0 && v <= 1) {
			err = errors.New(s + ": out of range (allowed: 0% to 100%)")
		}
		if err != nil {
			return &flagError{k.flag, err.Error()}
		}
		set.number[k.flag+"%"] = v
		return nil
	}
	v, err := k.in.parse(s)
	if err != nil {
		return &flagError{k.flag, err.Error()}
	}
	set.number[k.flag] = v
	return k.check(v)
}
