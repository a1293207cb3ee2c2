package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strconv"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/sensors/derive/cooldown"
)

// Where flags may stand in a call: anywhere, or, where a person's own text
// follows, before the first word only.
const (
	flagsAnywhere = 1 << 10
	flagsFirst    = 1
)

// words parses flags, which may stand before each of the first n words, and
// returns the words. wanted names those that must be there; optional more may
// follow.
func (c *call) words(fs *flag.FlagSet, n, optional int, wanted ...string) ([]string, error) {
	wrong := func(what string) error {
		return &usageError{fmt.Sprintf("%s: %s; `charwarden %s -h` shows how", fs.Name(), what, fs.Name())}
	}
	var words []string
	rest := c.args
	for len(words) < n {
		err := fs.Parse(rest)
		if errors.Is(err, flag.ErrHelp) {
			return nil, err
		}
		if err != nil {
			return nil, wrong(err.Error())
		}
		if rest = fs.Args(); len(rest) == 0 {
			break
		}
		words, rest = append(words, rest[0]), rest[1:]
	}
	words = append(words, rest...)
	if len(words) < len(wanted) {
		return nil, wrong(wanted[len(words)] + " is missing")
	}
	if most := len(wanted) + optional; len(words) > most {
		return nil, wrong(strconv.Quote(words[most]) + ": not expected here")
	}
	return words, nil
}

// visitWith reads a call that has no flags of its own.
func (c *call) visitWith(name, usage string, n, optional int, wanted ...string) (*visit, []string, error) {
	fs := c.flags(name, strings.TrimSpace(name+" [-c FILE | --socket PATH] "+usage))
	where := addVisitFlags(fs)
	words, err := c.words(fs, n, optional, wanted...)
	if err != nil {
		return nil, nil, err
	}
	v, err := where.visit(name)
	return v, words, err
}

// turn orders something of one alarm and says what became of it.
func (c *call) turn(ctx context.Context, v *visit, verb string, o order) error {
	var row turnRow
	if err := v.post(ctx, "/"+verb, o, &row); err != nil {
		return fmt.Errorf("%s: %w", verb, err)
	}
	fmt.Fprintf(c.out, "%s: now %s\n", row.Alarm, row.State)
	return nil
}

// turning is a command that names an alarm and nothing else.
func turning(verb string) func(context.Context, *call) error {
	return func(ctx context.Context, c *call) error {
		v, words, err := c.visitWith(verb, "NAME", flagsAnywhere, 0, "NAME")
		if err != nil {
			return err
		}
		return c.turn(ctx, v, verb, named{words[0]})
	}
}

// reset releases a latched alarm or, by the name of permit, the run permit.
func reset(ctx context.Context, c *call) error {
	v, words, err := c.visitWith("reset", "NAME | permit", flagsAnywhere, 0, "NAME")
	switch {
	case err != nil:
		return err
	case words[0] != "permit":
		return c.turn(ctx, v, "reset", named{words[0]})
	}
	if err := v.post(ctx, "/reset/permit", bare{}, nil); err != nil {
		return fmt.Errorf("reset permit: %w", err)
	}
	fmt.Fprintln(c.out, "run permit: given again; see that nobody is at the engine before it is started")
	return nil
}

func silence(ctx context.Context, c *call) error {
	v, _, err := c.visitWith("silence", "", flagsAnywhere, 0)
	if err != nil {
		return err
	}
	if err := v.post(ctx, "/silence", bare{}, nil); err != nil {
		return fmt.Errorf("silence: %w", err)
	}
	fmt.Fprintln(c.out, "horn: silent for 2 minutes; what is new still sounds")
	return nil
}

func shelve(ctx context.Context, c *call) error {
	v, words, err := c.visitWith("shelve", "NAME DURATION", flagsAnywhere, 0, "NAME", "DURATION")
	if err != nil {
		return err
	}
	d, err := time.ParseDuration(words[1])
	if err != nil || d <= 0 || d > alarms.MaxShelf {
		return &usageError{fmt.Sprintf("shelve: %q: want a time such as 10m, at most %.0fm", words[1], alarms.MaxShelf.Minutes())}
	}
	return c.turn(ctx, v, "shelve", shelfOrder{words[0], d.Seconds()})
}

func takeOut(ctx context.Context, c *call) error {
	v, words, err := c.visitWith("out", "NAME REASON...", flagsFirst, flagsAnywhere, "NAME", "REASON")
	if err != nil {
		return err
	}
	return c.turn(ctx, v, "out", outOrder{words[0], strings.Join(words[1:], " ")})
}

// note writes a line into the notebook of the run.
func note(ctx context.Context, c *call) error {
	v, words, err := c.visitWith("note", "TEXT...\n\n"+noteWords(), flagsFirst, flagsAnywhere, "TEXT")
	if err != nil {
		return err
	}
	var row noteRow
	if err := v.post(ctx, "/note", noteOrder{strings.Join(words, " ")}, &row); err != nil {
		return fmt.Errorf("note: %w", err)
	}
	said := "noted: " + row.Kind
	if row.Value != nil {
		said += fmt.Sprintf(" %.4g %s", *row.Value, *row.Unit)
	} else if row.Text != "" {
		said += " " + row.Text
	}
	if row.Why != nil {
		said += "; not stored yet: " + *row.Why
	}
	fmt.Fprintln(c.out, said)
	return nil
}

// noteWords are the words of the notebook.
func noteWords() string {
	var b strings.Builder
	b.WriteString("TEXT may begin with one of:\n")
	for _, k := range runlog.NoteKinds() {
		fmt.Fprintf(&b, "  %-11s %s", k.Word, k.Means)
		if k.Unit != "" {
			fmt.Fprintf(&b, " (%s)", k.Unit)
		}
		b.WriteString("\n")
	}
	return b.String()
}

// showPhase prints the phase, or sets it where a word follows.
func showPhase(ctx context.Context, c *call) error {
	v, words, err := c.visitWith("phase", "[WORD | auto]", flagsAnywhere, 1)
	if err != nil {
		return err
	}
	if len(words) == 1 {
		o := phaseOrder{words[0]}
		if err := o.check(); err != nil {
			return &usageError{err.Error() + ", or auto"}
		}
		if err := v.post(ctx, "/phase", o, nil); err != nil {
			return fmt.Errorf("phase: %w", err)
		}
		if o.Phase == "auto" {
			fmt.Fprintln(c.out, "the readings say the phase again")
		} else {
			fmt.Fprintf(c.out, "%s, until the readings agree or `charwarden phase auto`\n", o.Phase)
		}
		return nil
	}
	var row phaseRow
	if err := v.get(ctx, "/phase", &row); err != nil {
		return fmt.Errorf("phase: %w", err)
	}
	fmt.Fprintln(c.out, row)
	return nil
}

// String is the row as a person reads it.
func (r phaseRow) String() string {
	if r.Phase == nil {
		return "not known yet"
	}
	s := *r.Phase
	if r.Since != nil {
		s += " since " + localTime(*r.Since)
	}
	switch {
	case !r.Forced:
	case r.Inferred == nil:
		s += ", by hand; the readings do not say"
	default:
		s += ", by hand; the readings say " + *r.Inferred
	}
	switch {
	case r.Cold == nil:
	case *r.Cold == 0:
		s += "\nits walls are below 60 °C. " + cooldown.Caution
	default:
		s += "\nits walls are at 60 °C in about " + leftText(*r.Cold) + ". " + cooldown.Caution
	}
	return s
}
