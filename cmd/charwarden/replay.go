package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"text/tabwriter"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
)

// change is one transition as `replay` shows it.
type change struct {
	Seconds  float64  `json:"seconds"`
	Alarm    string   `json:"alarm"`
	Channel  string   `json:"channel"`
	From     string   `json:"from"`
	To       string   `json:"to"`
	Priority string   `json:"priority"`
	Value    *float64 `json:"value"`
	Limit    *float64 `json:"limit"`
	Unit     *string  `json:"unit"`
}

// replay judges a recording by the rules of a configuration.
func replay(ctx context.Context, c *call) error {
	fs := c.flags("replay", "replay (--readings FILE.csv | RUN [--dir DIR]) [-c FILE] [--hold DURATION] [--all] [--json]")
	readings := fs.String("readings", "", "the recording: `FILE` with columns seconds, channel, value, fault")
	file := fs.String("c", "", "the configuration `FILE` (default: the reference rig)")
	hold := fs.Duration("hold", 0, "how long a row stays valid (default: the channel's stale time)")
	all := fs.Bool("all", false, "show also what is suppressed by design, and when no more")
	dir := fs.String("dir", "", "where the runs are, `DIR` (default "+runsDir+")")
	asJSON := fs.Bool("json", false, "as JSON")
	words, err := c.words(fs, flagsAnywhere, 1)
	if err != nil {
		return err
	}
	if len(words) == 1 && *readings == "" {
		r := rejudge{run: words[0], rules: *file, dir: *dir, all: *all, json: *asJSON}
		return r.play(ctx, c)
	}
	if *readings == "" || len(words) > 0 || *hold < 0 {
		return &usageError{"replay: one of --readings FILE.csv and a RUN is wanted, --hold longer than 0"}
	}
	cfg, err := config.Parse("reference.toml", config.Reference())
	if *file != "" {
		cfg, err = loadConfig("replay", *file)
	}
	if err != nil {
		return err
	}
	f, err := os.Open(*readings)
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	defer f.Close()
	rows, err := readRecording(*readings, f, known(cfg))
	if err != nil {
		return err
	}
	p, err := newPlayer(cfg, rows, *hold)
	if err != nil {
		return err
	}
	changes := []change{}
	for !p.ended() {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		for _, t := range p.step() {
			if *all || !byDesign(t.From, t.State) {
				changes = append(changes, p.change(&t, t.At.Sub(p.base)))
			}
		}
	}
	if *asJSON {
		return writeJSON(c.out, changes)
	}
	return printChanges(c.out, changes)
}

// byDesign reports whether a change only begins or ends a suppression.
func byDesign(from, to alarms.State) bool {
	return to == alarms.Suppressed || from == alarms.Suppressed && to == alarms.Normal
}

func printChanges(w io.Writer, changes []change) error {
	tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "seconds\talarm\tpriority\tfrom\tto\tvalue\tlimit")
	for _, c := range changes {
		value, limit := c.figures()
		fmt.Fprintf(tw, "%.1f\t%s\t%s\t%s\t%s\t%s\t%s\n", c.Seconds, c.Alarm, c.Priority, c.From, c.To, value, limit)
	}
	return tw.Flush()
}

// figures are value and limit in words.
func (c *change) figures() (value, limit string) {
	value, limit = "-", "-"
	if c.Value != nil {
		value = fmt.Sprintf("%.4g %s", *c.Value, *c.Unit)
	}
	if c.Limit != nil {
		limit = fmt.Sprintf("%g %s", *c.Limit, *c.Unit)
	}
	return value, limit
}

// known are the channels that a recording may name.
func known(cfg *config.Config) map[string]bool {
	k := make(map[string]bool)
	for _, ch := range slices.Concat(cfg.Channels, cfg.Derived) {
		k[ch.Name] = true
	}
	return k
}

// player drives the core through a recording, on the daemon's own grid of
// ticks.
type player struct {
	*core
	rows  []sample
	next  int
	last  []sensors.Reading // of each sensor channel, as the rows say
	hold  map[string]time.Duration
	base  time.Time
	at    time.Duration
	until time.Duration
	aged  []sensors.Reading
}

// epoch is when every recording begins: its times are its own.
var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

func newPlayer(cfg *config.Config, rows []sample, hold time.Duration) (*player, error) {
	p := &player{rows: rows, hold: make(map[string]time.Duration), base: epoch, at: rows[0].at}
	p.until = rows[len(rows)-1].at + hold
	named := make(map[string]bool)
	for _, s := range rows {
		named[s.channel] = true
	}
	cfg = fitted(cfg, named)
	var err error
	if p.core, err = newCore(cfg, epoch); err != nil {
		return nil, err
	}
	for i, ch := range p.channels {
		p.last = append(p.last, sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil))
		p.hold[ch.Name] = hold
		if hold == 0 {
			p.hold[ch.Name] = ch.StaleAfter()
		}
		p.given[ch.Name] = i >= len(cfg.Channels) && named[ch.Name]
	}
	p.aged = slices.Clone(p.last)
	return p, nil
}

// fitted leaves out the channels that a recording does not name, what is
// derived from them, and every rule that needs one.
func fitted(cfg *config.Config, named map[string]bool) *config.Config {
	c := *cfg
	has := func(ch sensors.Channel) bool { return named[ch.Name] }
	keep := func(list []sensors.Channel, want func(sensors.Channel) bool) (kept []sensors.Channel) {
		for _, ch := range list {
			if want(ch) {
				kept = append(kept, ch)
			}
		}
		return kept
	}
	c.Channels = keep(cfg.Channels, has)
	c.COs = slices.DeleteFunc(slices.Clone(cfg.COs), func(co config.CO) bool { return !named[co.Channel] })
	reckonable := cfg.Reckonable(func(ch string) bool { return named[ch] })
	c.Derived = keep(cfg.Derived, func(ch sensors.Channel) bool {
		if named[ch.Name] || slices.Contains(reckonable, ch.Name) {
			return true
		}
		for _, co := range c.COs {
			if dosesOf(co.Channel)[ch.Name] {
				return true
			}
		}
		return false
	})
	if !slices.Contains(reckonable, cfg.Roles.FilterLoading) {
		c.Roles.FilterLoading = ""
	}
	there := make(map[string]bool)
	for _, ch := range slices.Concat(c.Channels, c.Derived) {
		there[ch.Name] = true
	}
	c.Rules = slices.DeleteFunc(slices.Clone(cfg.Rules), func(r alarms.Rule) bool {
		missing := !there[r.Channel] || r.Other != "" && !there[r.Other]
		for _, w := range r.While {
			missing = missing || w.Channel != "" && !there[w.Channel]
		}
		return missing
	})
	return &c
}

func (p *player) ended() bool { return p.at > p.until }

// step is one tick.
func (p *player) step() []alarms.Transition {
	now := p.base.Add(p.at)
	for p.next < len(p.rows) && p.rows[p.next].at <= p.at {
		s := &p.rows[p.next]
		p.last[p.core.at[s.channel]] = sensors.Reading{Channel: s.channel, At: p.base.Add(s.at), Value: s.value, Raw: s.value,
			Cold: math.NaN(), Status: s.status}
		p.next++
	}
	for i := range p.last {
		p.aged[i] = p.last[i]
		if x := &p.aged[i]; !x.At.IsZero() && now.Sub(x.At) > p.hold[x.Channel] {
			*x = sensors.Bad(x.Channel, x.At, sensors.Stale, nil)
		}
		if p.given[p.aged[i].Channel] {
			p.readings[i] = p.aged[i]
		}
	}
	p.at += p.cfg.Tick
	return p.core.step(now, p.aged[:len(p.cfg.Channels)], instrument{})
}

// change is a transition as it is shown, at a time of its own.
func (c *core) change(t *alarms.Transition, at time.Duration) change {
	row := change{
		Seconds: at.Seconds(), Alarm: t.Rule.Name, Channel: t.Rule.Channel,
		From: t.From.String(), To: t.State.String(), Priority: t.Rule.Priority.String(),
	}
	if t.Rule.Kind.Limited() {
		unit := t.Rule.Unit(c.channels[c.at[t.Rule.Channel]].Quantity)
		row.Limit, row.Unit = &t.Rule.Limit, &unit
		row.Value = figure(t.Value)
	}
	return row
}
