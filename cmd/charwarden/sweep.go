package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// mostPoints of a sweep.
const mostPoints = 1000

// span is a sweep: a flag from one value to another, in the base unit.
type span struct {
	knob     *knob
	from, to float64
	n        int
}

// at is the value of the i-th point; the ends are exact.
func (p *span) at(i int) float64 {
	if i == p.n-1 {
		return p.to
	}
	return p.from + (p.to-p.from)*float64(i)/float64(p.n-1)
}

// parseSweep reads FLAG=A..B/N.
func (s *sheet) parseSweep(text string) (span, error) {
	wrong := func(format string, args ...any) (span, error) {
		return span{}, &flagError{"sweep", strconv.Quote(text) + ": " + fmt.Sprintf(format, args...)}
	}
	flag, rest, ok := strings.Cut(text, "=")
	slash := strings.LastIndex(rest, "/")
	if !ok || slash < 0 || !strings.Contains(rest[:slash], "..") {
		return wrong("write FLAG=A..B/N, such as %s", s.sample)
	}
	p := span{knob: s.knob(strings.TrimLeft(flag, "-"))}
	if p.knob == nil || p.knob.in == nil {
		var names []string
		for _, k := range s.knobs {
			if k.in != nil {
				names = append(names, k.flag)
			}
		}
		return wrong("%q cannot be swept (allowed: %s)", flag, strings.Join(names, ", "))
	}
	from, to, _ := strings.Cut(rest[:slash], "..")
	var err error
	if p.from, err = p.knob.in.parse(from); err != nil {
		return wrong("%v", err)
	}
	if p.to, err = p.knob.in.parse(to); err != nil {
		return wrong("%v", err)
	}
	if p.n, err = strconv.Atoi(rest[slash+1:]); err != nil || p.n < 2 || p.n > mostPoints {
		return wrong("%q: from 2 to %d points", rest[slash+1:], mostPoints)
	}
	if p.from == p.to {
		return wrong("both ends are the same")
	}
	return p, nil
}

// sweep reckons, prints and draws a row for each point. One that cannot be
// ends it all.
func (s *sheet) sweep(c *call, set *settings, text, file string, asJSON bool) error {
	p, err := s.parseSweep(text)
	if err != nil {
		return err
	}
	if set.given[p.knob.flag] {
		return &flagError{"sweep", fmt.Sprintf("%q: and --%s is given too: leave one out", text, p.knob.flag)}
	}
	rows, notes, err := s.rows(set, p)
	if err != nil {
		return err
	}
	if file != "" {
		if err := s.figure(set, p, rows).write(file); err != nil {
			return err
		}
	}
	if asJSON {
		return writeJSON(c.out, rows)
	}
	return printSweep(c.out, trim(rows, p.knob), notes)
}

// rows reckons all points. The swept number stands first in each row.
func (s *sheet) rows(set *settings, p span) ([]cells, []string, error) {
	var rows []cells
	var notes []string
	at := map[string]int{}
	// A flag that is swept counts as given.
	set = set.with(p.knob.flag, p.from)
	given := map[string]bool{p.knob.flag: true}
	for k, v := range set.given {
		given[k] = v
	}
	set.given = given
	for i := range p.n {
		v := p.at(i)
		err := p.knob.check(v)
		var a outcome
		if err == nil {
			a, err = s.solve(set.with(p.knob.flag, v))
		}
		if err != nil {
			return nil, nil, fmt.Errorf("--sweep %s=%s: %w", p.knob.flag, p.knob.in.text(v), err)
		}
		rows = append(rows, lead(a.cells, p.knob, v))
		for _, n := range a.notes {
			if at[n]++; at[n] == 1 {
				notes = append(notes, n)
			}
		}
	}
	for i, n := range notes {
		if at[n] < p.n {
			notes[i] = fmt.Sprintf("In %d of %d rows: %s", at[n], p.n, n)
		}
	}
	return rows, notes, nil
}

// lead puts the swept number in front, unless the answer has it.
func lead(r cells, k *knob, v float64) cells {
	if r.find(k.key) != nil {
		return r
	}
	return slices.Insert(r, 0, cell{key: k.key, name: k.name, head: k.flag, unit: k.in.unit, digits: -5, value: k.in.plain(v)})
}

// trim puts the swept number first, for a person's table, under its flag's name.
func trim(rows []cells, k *knob) []cells {
	out := make([]cells, len(rows))
	for i, r := range rows {
		for _, c := range r {
			if c.key == k.key {
				c.head, c.unit = k.flag, k.in.unit
				out[i] = slices.Insert(out[i], 0, c)
			} else {
				out[i] = append(out[i], c)
			}
		}
	}
	return out
}
