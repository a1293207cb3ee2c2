package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"charwarden/config"
	"charwarden/sensors"
)

// look is something that only a person can see; its short word goes into the
// notebook.
type look struct {
	item, short string
	see         string // what must be so
	ask         string // the question
	words       bool   // the answer is words, not yes or no
}

// beforeLooks are what no sensor knows before the fire, afterLooks after the
// stop.
var (
	beforeLooks = []look{
		{"wind", "wind and place", "the rig stands outdoors, and you stand upwind of it", "From where does the wind blow, and where will you stand", true},
		{"second person", "second person", "somebody else knows that you light it, and when you will be back", "Does a second person know that you light it, and when you will be back", false},
		{"co alarm on you", "CO alarm worn", "you wear a certified CO alarm, and it is on", "Do you wear a certified CO alarm, and is it on", false},
		{"water", "water at hand", "an extinguisher or water stands at hand", "Is an extinguisher or water at hand", false},
		{"nozzle", "nozzle clear", "the nozzle is clear of slag and ash", "Is the nozzle clear of slag and ash", false},
		{"horn heard", "horn heard", "you have heard the horn and seen the lamps today", "Have you heard the horn and seen the lamps today (charwarden check -c FILE --sound)", false},
	}
	afterLooks = []look{
		{"nozzle", "nozzle shut", "the nozzle is shut", "Is the nozzle shut", false},
		{"return", "return shut", "the return is shut", "Is the return shut", false},
		{"outlet", "outlet shut", "the outlet is shut, and no blower draws", "Is the outlet shut, and the blower off", false},
		{"lid and drains", "lid and drains shut", "lid, doors and drains are shut, and stay shut while it is warm", "Are lid, doors and drains shut", false},
		{"power", "board powered", "the board stays powered over the night: it watches for a fire that comes back", "Does the board stay powered", false},
		{"place", "outdoors", "the rig stays outdoors, with nothing that burns beside it and nobody asleep near it", "Does the rig stay outdoors, with nothing that burns beside it and nobody asleep near it", false},
		{"morning", "look in the morning", "you come back in the morning, with a CO alarm on you, before anything is opened", "Will you come back in the morning, with a CO alarm on you", false},
	}
)

// ready lists what must be true before the fire, or with --after what must be
// after the stop.
func ready(ctx context.Context, c *call) error {
	fs := c.flags("ready", "ready [-c FILE | --socket PATH] [--after] [--yes] [--json]")
	where := addVisitFlags(fs)
	after := fs.Bool("after", false, "the list for after the stop")
	yes := fs.Bool("yes", false, "ask nothing")
	asJSON := fs.Bool("json", false, "as JSON; asks nothing")
	if err := c.parse(fs); err != nil {
		return err
	}
	v, err := where.visit("ready")
	if err != nil {
		return err
	}
	path, looks, about := "/ready", beforeLooks, "ready: "
	if *after {
		path, looks, about = "/ready?when=after", afterLooks, "after the stop: "
	}
	var rows []readyRow
	if err := v.get(ctx, path, &rows); err != nil {
		return fmt.Errorf("ready: %w", err)
	}
	if *asJSON {
		rows = append(rows, unasked(looks)...)
		err = writeJSON(c.out, rows)
	} else if err = printReady(c.out, v.cfg, rows); err == nil {
		var said []readyRow
		if in, ok := c.in.(*os.File); *yes || !ok || !isTerminal(in) {
			said = unasked(looks)
			err = printReady(c.out, v.cfg, said)
		} else {
			said, err = v.askAndNote(ctx, linesOf(ctx, in), c.out, looks, about, missing(rows))
		}
		rows = append(rows, said...)
		if err == nil {
			err = readyVerdict(c.out, missing(rows), *after)
		}
	}
	switch {
	case err != nil:
		return fmt.Errorf("ready: %w", err)
	case len(missing(rows)) > 0:
		return errNotGood
	}
	return nil
}

// unasked are the rows of what a person is to see and was not asked.
func unasked(looks []look) (rows []readyRow) {
	for _, l := range looks {
		rows = append(rows, readyRow{Item: l.item, State: readySee, Hint: orNull(l.see)})
	}
	return rows
}

// askAndNote asks, and writes the answers and what is missing into the notebook.
func (v *visit) askAndNote(ctx context.Context, lines <-chan string, out io.Writer, looks []look, about string, missing []string) ([]readyRow, error) {
	rows, text, err := askLooks(ctx, lines, out, looks)
	if err != nil {
		return nil, err
	}
	text = about + text
	if len(missing) > 0 {
		text += "; missing: " + few(missing)
	}
	if err := v.post(ctx, "/note", noteOrder{cut(text, maxText)}, nil); err != nil {
		return nil, fmt.Errorf("the answers are not noted: %w", err)
	}
	fmt.Fprintln(out, "noted")
	return rows, nil
}

// missing are the items that are not so.
func missing(rows []readyRow) (items []string) {
	for _, r := range rows {
		if r.State != readyOK && r.State != readySee { // a word of a newer daemon is not ok
			items = append(items, r.Item)
		}
	}
	return items
}

// readyVerdict says what the table comes to.
func readyVerdict(w io.Writer, missing []string, after bool) error {
	line := "Nothing that is measured is missing. What stands under `see` is yours to look at."
	if len(missing) > 0 {
		line = "NOT READY: " + strings.Join(missing, ", ")
		if after {
			line = "NOT AT REST: " + strings.Join(missing, ", ")
		}
	}
	lines := append([]string{""}, wrapped("", line, readyWidth, 10)...)
	lines = append(lines, "")
	if after {
		lines = append(lines, wrapped("", "A shut rig holds embers and CO for many hours: do not open it before the next morning, outdoors, upwind.", readyWidth, 10)...)
	}
	_, err := io.WriteString(w, strings.Join(append(lines, caution), "\n")+"\n")
	return err
}

// readyWidth is how wide the table is at most, readyItem its first column at
// least.
const readyWidth, readyItem = 80, 15

func printReady(w io.Writer, cfg *config.Config, rows []readyRow) error {
	wide := readyItem
	for _, r := range rows {
		wide = max(wide, utf8.RuneCountInString(r.Item))
	}
	var b strings.Builder
	for _, r := range rows {
		text := r.figure(cfg, r.Value)
		if r.Limit != nil && r.Unit == nil {
			text += " of " + r.figure(cfg, r.Limit)
		} else if r.Limit != nil {
			text = strings.TrimSpace(text + " (limit " + r.figure(cfg, r.Limit) + ")")
		}
		if r.Hint != nil {
			text = strings.TrimPrefix(text+": "+*r.Hint, ": ")
		}
		before := fmt.Sprintf("%s  %-7s  ", pad(r.Item, wide), r.State)
		for _, line := range wrapped(before, text, readyWidth, 10) {
			b.WriteString(line + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// figure is value or limit as this person wants to read it.
func (r readyRow) figure(cfg *config.Config, v *float64) string {
	switch {
	case v == nil:
		return ""
	case r.Unit == nil:
		return fmt.Sprintf("%.0f", *v)
	}
	var d config.Display
	if cfg != nil {
		d = cfg.Display
	}
	for q := sensors.Quantities; q > 0; q-- { // of one unit the plainer one comes last
		if (q - 1).Unit() == *r.Unit {
			return d.Format(q-1, *v)
		}
	}
	return fmt.Sprintf("%.4g %s", *v, *r.Unit)
}

// linesOf are the person's lines, until the input ends or ctx does.
func linesOf(ctx context.Context, r io.Reader) <-chan string {
	lines := make(chan string)
	go func() { // ends with the input, or with the command
		defer close(lines)
		in := bufio.NewReader(io.LimitReader(r, 1<<16))
		for {
			s, err := in.ReadString('\n')
			if err != nil {
				return
			}
			select {
			case lines <- s:
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

// askLooks asks a person what no sensor knows. text is for the notebook.
func askLooks(ctx context.Context, lines <-chan string, out io.Writer, looks []look) (rows []readyRow, text string, err error) {
	fmt.Fprintln(out, "\nWhat no sensor knows (y or n; Enter is no):")
	var said []string
	for _, l := range looks {
		fmt.Fprintf(out, "  %s? ", l.ask)
		var s string
		select {
		case line, more := <-lines:
			if !more {
				return nil, "", errLeft
			}
			s = strings.TrimSpace(strings.Map(printable, line))
		case <-ctx.Done():
			return nil, "", errLeft
		}
		row := readyRow{Item: l.item, State: readyMissing, Hint: orNull("you said no: see that " + l.see)}
		yes := slices.Contains([]string{"y", "yes"}, strings.ToLower(s))
		if l.words {
			yes = s != "" && !slices.Contains([]string{"n", "no"}, strings.ToLower(s))
		}
		word := "no"
		switch {
		case yes && l.words:
			word = cut(s, 60)
			row.State, row.Hint = readyOK, orNull("you said: "+word)
		case yes:
			word = "yes"
			row.State, row.Hint = readyOK, orNull("you said yes")
		}
		said, rows = append(said, l.short+" "+word), append(rows, row)
	}
	return rows, strings.Join(said, ", "), nil
}

// printable drops what a log does not take.
func printable(r rune) rune {
	if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
		return -1
	}
	return r
}

// cut shortens s to at most n bytes of whole characters.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && s[n]&0xc0 == 0x80 {
		n--
	}
	return s[:n]
}
