package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/cmd/internal/siren"
	"charwarden/config"
	"charwarden/sensors"
)

// checkRow is one channel as `check` shows it.
type checkRow struct {
	Channel string   `json:"channel"`
	Chip    string   `json:"chip"`
	Bus     string   `json:"bus"`
	State   string   `json:"state"` // good, fault or missing
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"`
	Fault   *string  `json:"fault"`
	Hint    *string  `json:"hint"`
}

// checkTime is how long every chip gets: the slowest, a thermocouple chip
// after power-up, needs two periods and 0.2 s.
const checkTime = 3 * time.Second

// check asks every chip, through the running daemon where there is one.
func check(ctx context.Context, c *call) error {
	fs := c.flags("check", "check -c FILE [--json] [--sound]")
	file := fs.String("c", "", "the configuration `FILE`")
	asJSON := fs.Bool("json", false, "as JSON")
	sound := fs.Bool("sound", false, "play every sound of the horn and every lamp first")
	if err := c.parse(fs); err != nil {
		return err
	}
	cfg, err := loadConfig("check", *file)
	if err != nil {
		return err
	}
	for _, w := range cfg.Warnings {
		fmt.Fprintln(c.err, "warning:", w)
	}
	o := cfg.Outputs
	var heard io.Writer // where to say what plays; nil: nothing does
	if *sound {
		if o.Horn+o.LampRed+o.LampYellow+o.LampGreen == "" {
			return fmt.Errorf("check: --sound: %s has neither horn nor lamp: name their pins under [outputs]", *file)
		}
		heard = c.err
	}
	rows, err := checkRows(ctx, cfg, heard)
	if err != nil {
		return err
	}
	if *asJSON {
		err = writeJSON(c.out, rows)
	} else {
		err = printRows(c.out, cfg, rows)
	}
	if err == nil {
		err = checkCredentials(&cfg.MQTT)
	}
	for _, r := range rows {
		if err == nil && r.State != "good" {
			err = errNotGood
		}
	}
	return err
}

func checkRows(ctx context.Context, cfg *config.Config, heard io.Writer) ([]checkRow, error) {
	lock, err := lockBoard(boardLock)
	if held := (*heldError)(nil); errors.As(err, &held) {
		rows, askErr := askRows(ctx, cfg.Socket, heard)
		if askErr != nil {
			return nil, fmt.Errorf("check: process %d (%s) has the board and cannot be asked: %w", held.pid, held.name, askErr)
		}
		return rows, nil
	}
	if err != nil {
		return nil, err
	}
	defer lock.Close()
	return checkBoard(ctx, cfg, newMachine(), systemClock{}, heard)
}

// checkBoard reads the board until every channel has answered, for checkTime
// at the most.
func checkBoard(ctx context.Context, cfg *config.Config, b sensors.Board, clock sensors.Clock, heard io.Writer) ([]checkRow, error) {
	r, err := wire(cfg, b, clock, nil)
	if err != nil {
		return nil, err
	}
	s := newSignals(cfg.Outputs, b, clock, nil, slog.New(slog.DiscardHandler)) // touches no output
	if heard != nil {
		if err := s.sound(ctx, clock, heard); err != nil {
			return nil, err
		}
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	for _, o := range r.owners {
		go o.Run(ctx)
	}
	var readings []sensors.Reading
	for end := clock.Now().Add(checkTime); clock.Now().Before(end); {
		clock.Sleep(ctx, cfg.Tick)
		for len(r.in) > 0 {
			r.sweep.Put(<-r.in)
		}
		readings = r.sweep.Tick(clock.Now())
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if r.sweep.Answered() && r.settled(readings) {
			break
		}
	}
	return append(rowsOf(r, readings), s.rows()...), nil
}

// sound plays horn and lamps where no daemon does.
func (s *signals) sound(ctx context.Context, clock sensors.Clock, heard io.Writer) error {
	if err := s.siren.Test(clock.Now()); err != nil {
		return err
	}
	playing, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.siren.Run(playing) }()
	listen(ctx, clock, heard)
	stop() // switches off what is on
	return cmp.Or(<-done, context.Cause(ctx))
}

// listen says what plays until it has ended.
func listen(ctx context.Context, clock sensors.Clock, heard io.Writer) {
	fmt.Fprintf(heard, "horn (four, three, one) and lamps (red, yellow, green): listen and look for %.0f s\n", siren.TestTime().Seconds())
	clock.Sleep(ctx, siren.TestTime())
}

// settled reports whether no chip may yet turn good by waiting.
func (r *rig) settled(readings []sensors.Reading) bool {
	for _, rd := range readings {
		_, isChip := r.places[rd.Channel]
		if isChip && rd.Status != sensors.Good && rd.Status != sensors.Unzeroed {
			return false
		}
	}
	return true
}

func rowsOf(r *rig, readings []sensors.Reading) []checkRow {
	var rows []checkRow
	for i, ch := range r.sweep.Channels() {
		at, isChip := r.places[ch.Name]
		if !isChip { // an age is nothing that a chip could answer
			continue
		}
		rd := readings[i]
		row := checkRow{Channel: ch.Name, Chip: at.chip, Bus: at.bus, State: "good", Unit: ch.Quantity.Unit()}
		if rd.Status == sensors.Good && !math.IsNaN(rd.Value) {
			row.Value = &rd.Value
		} else {
			row.State = "fault"
			if rd.Status == sensors.NoAnswer || rd.Status == sensors.Unknown {
				row.State = "missing"
			}
			word, hint := rd.Status.String(), hintFor(rd)
			row.Fault, row.Hint = &word, &hint
		}
		rows = append(rows, row)
	}
	return rows
}

// hintFor tells what to do about a bad reading.
func hintFor(r sensors.Reading) string {
	advice := map[sensors.Status]string{
		sensors.Open:       "broken couple or loose screw: see the couple's wires",
		sensors.ShortGND:   "couple touches ground: use an insulated junction, see for leakage in hot insulation",
		sensors.ShortVCC:   "couple touches the supply: see the wires at the terminals",
		sensors.NoAnswer:   "see power and wires of the chip, and its address or select in the file",
		sensors.Checksum:   "the bus carries wrong bits: shorter wires, 150 ohm in series, see the ground",
		sensors.Unzeroed:   "no zero yet: with the engine off and nothing drawing, the running daemon takes it within 15 s",
		sensors.OutOfRange: "see that the sensor is the one in the file",
	}[r.Status]
	if r.Err == nil {
		return advice
	}
	said := strings.TrimPrefix(r.Err.Error(), r.Channel+": ") // it stands before the line already
	if advice == "" || r.Status == sensors.Unzeroed || errors.As(r.Err, new(*openError)) {
		return said // which says what to do
	}
	return said + ": " + advice
}

func printRows(w io.Writer, cfg *config.Config, rows []checkRow) error {
	tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "channel\tchip\tbus\tstate\tvalue")
	quantity := make(map[string]sensors.Quantity)
	for _, ch := range cfg.Channels {
		quantity[ch.Name] = ch.Quantity
	}
	for _, r := range rows {
		value := "-"
		switch {
		case r.Value != nil:
			value = cfg.Display.Format(quantity[r.Channel], *r.Value)
		case r.Fault != nil:
			value = *r.Fault
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\n", r.Channel, r.Chip, r.Bus, r.State, value)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	var hints strings.Builder
	for _, r := range rows {
		if r.Hint != nil {
			fmt.Fprintf(&hints, "\n%s: %s", r.Channel, *r.Hint)
		}
	}
	if hints.Len() > 0 {
		fmt.Fprintln(w, hints.String())
	}
	return nil
}
