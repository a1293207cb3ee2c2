package main

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"charwarden/sensors"
)

// sample is one row of a recording: what a channel said at a time.
type sample struct {
	at      time.Duration
	channel string
	value   float64 // NaN where there is none
	status  sensors.Status
}

// maxSeconds is how long a recording may last: a year.
const maxSeconds = 366 * 86400

// rowErrors are what is wrong with a recording, at most as many as a person
// wants to read at once.
type rowErrors struct {
	file string
	errs []error
}

func (e *rowErrors) add(line int, key, format string, args ...any) {
	e.errs = append(e.errs, fmt.Errorf("%s:%d: %s: %s", e.file, line, key, fmt.Sprintf(format, args...)))
}

func (e *rowErrors) full() bool { return len(e.errs) >= 20 }

// readRecording reads the columns seconds, channel, value and fault, in any
// order and among others, and returns the rows by time. known says which
// channels there are.
func readRecording(file string, from io.Reader, known map[string]bool) ([]sample, error) {
	r := csv.NewReader(from)
	r.Comment, r.FieldsPerRecord, r.ReuseRecord, r.TrimLeadingSpace = '#', -1, true, true
	wrong := &rowErrors{file: file}
	head, err := r.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("empty")
		}
		return nil, fmt.Errorf("%s:1: header: %w: want seconds,channel,value,fault", file, err)
	}
	columns := map[string]int{"seconds": -1, "channel": -1, "value": -1, "fault": -1}
	line, _ := r.FieldPos(0)
	for i, name := range head {
		name = strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")) // some programs write a byte order mark
		if at, ours := columns[name]; ours && at >= 0 {
			wrong.add(line, name, "two columns of this name")
		} else if ours {
			columns[name] = i
		}
	}
	for _, name := range []string{"seconds", "channel", "value"} {
		if columns[name] < 0 {
			wrong.add(line, name, "no such column: want seconds,channel,value,fault")
		}
	}
	var rows []sample
	for len(wrong.errs) == 0 || columns["seconds"] >= 0 && columns["channel"] >= 0 && columns["value"] >= 0 && !wrong.full() {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
			wrong.add(bad.Line, "row", "%v", bad.Err)
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		line, _ := r.FieldPos(0)
		field := func(name string) string {
			if i := columns[name]; i >= 0 && i < len(fields) {
				return strings.TrimSpace(fields[i])
			}
			return ""
		}
		if s, ok := readSample(wrong, line, field, known); ok {
			rows = append(rows, s)
		}
	}
	if len(wrong.errs) > 0 {
		return nil, errors.Join(wrong.errs...)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: rows: none: nothing to replay", file)
	}
	slices.SortStableFunc(rows, func(a, b sample) int { return cmp.Compare(a.at, b.at) })
	return rows, nil
}

// readSample reads one row; false where something is wrong with it.
func readSample(wrong *rowErrors, line int, field func(string) string, known map[string]bool) (sample, bool) {
	before := len(wrong.errs)
	s := sample{channel: strings.Clone(field("channel")), value: math.NaN(), status: sensors.Good}
	seconds, err := strconv.ParseFloat(field("seconds"), 64)
	if err != nil || !(seconds >= 0 && seconds <= maxSeconds) {
		wrong.add(line, "seconds", "%q: a number from 0 to %d is wanted", field("seconds"), maxSeconds)
	}
	s.at = time.Duration(math.Round(seconds*1e3)) * time.Millisecond
	if !known[s.channel] {
		wrong.add(line, "channel", "%q: no such channel in the configuration", s.channel)
	}
	if word := field("fault"); word != "" {
		if s.status, err = sensors.ParseStatus(word); err != nil || s.status <= sensors.Good {
			wrong.add(line, "fault", "%q: no fault word (allowed: %v)", word, sensors.Statuses()[sensors.Good+1:])
		}
	}
	clipped := s.status == sensors.ClippedHigh || s.status == sensors.ClippedLow
	switch text := field("value"); {
	case text == "" && s.status == sensors.Good:
		wrong.add(line, "value", "empty, and no fault says why")
	case text == "":
	case s.status != sensors.Good && !clipped:
		wrong.add(line, "value", "%q beside fault %v: a bad reading is never a number", text, s.status)
	default:
		if s.value, err = strconv.ParseFloat(text, 64); err != nil || math.IsNaN(s.value) || math.IsInf(s.value, 0) {
			wrong.add(line, "value", "%q: a finite number is wanted", text)
		}
	}
	return s, len(wrong.errs) == before
}
