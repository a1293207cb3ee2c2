package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"charwarden/sensors"
)

// careDesk is a test desk that answers what `ready` and `watch` ask, at a socket
// of its own.
func careDesk(t *testing.T) (*testDesk, *visit) {
	t.Helper()
	d, carry := newTestDesk(t)
	carry()
	mux := http.NewServeMux()
	d.careRoutes(mux)
	mux.Handle("/", d.routes())
	v, _ := serve(t, mux)
	return d, v
}

// serve answers at a socket until stop, or the end of the test.
func serve(t *testing.T, h http.Handler) (v *visit, stop func()) {
	t.Helper()
	path := t.TempDir() + "/s"
	l, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: h, ConnContext: withPeer}
	done := make(chan struct{})
	go func() { srv.Serve(l); close(done) }()
	stop = func() { srv.Close(); <-done }
	t.Cleanup(stop)
	return newVisit(path, nil), stop
}

// seen reads what a daemon once said, from testdata/watch.
func seen(t *testing.T, name string) *liveRow {
	t.Helper()
	data, err := os.ReadFile("testdata/watch/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	l := new(liveRow)
	if err := json.Unmarshal(data, l); err != nil {
		t.Fatal(err)
	}
	return l
}

func TestReadings(t *testing.T) {
	d, v := careDesk(t)
	now := time.Now()
	*d.core.reading("wall_near") = sensors.Reading{Channel: "wall_near", At: now, Value: 640, Uncertainty: 3, Status: sensors.Good}
	*d.core.reading("wall_far") = sensors.Reading{Channel: "wall_far", At: now, Value: 612, Status: sensors.Stale, Err: errors.New("no newer reading")}
	*d.core.reading("co") = sensors.Reading{Channel: "co", At: now, Value: 1000, Status: sensors.ClippedHigh}
	*d.core.reading("co_twa_8h") = sensors.Reading{Channel: "co_twa_8h", At: now, Value: 21, AtLeast: true, Status: sensors.Good}
	*d.core.reading("speed") = sensors.Reading{Channel: "speed", At: now, Value: math.NaN(), Status: sensors.Good}
	*d.core.reading("suction") = sensors.Reading{Channel: "suction"}
	var rows []readingRow
	if err := v.get(t.Context(), "/readings", &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(d.core.channels) {
		t.Fatalf("%d rows of %d channels", len(rows), len(d.core.channels))
	}
	at := map[string]readingRow{}
	for i, r := range rows {
		at[r.Channel] = r
		if ch := d.core.channels[i]; r.Channel != ch.Name || r.Unit != ch.Quantity.Unit() || groupPlace(r.Group) == len(groupOrder) {
			t.Errorf("%+v is not %+v", r, ch)
		}
		if r.Status != "good" && (r.Value != nil || r.Uncertainty != nil) {
			t.Errorf("%s is %s and has a value", r.Channel, r.Status)
		}
	}
	if r := at["wall_near"]; r.Value == nil || *r.Value != 640 || *r.Uncertainty != 3 || r.Group != groupWalls || r.Quantity != "temperature" || r.Derived || !(*r.AgeS > 100 && *r.AgeS < 140) {
		t.Errorf("%+v", r)
	}
	if r := at["wall_far"]; r.Status != "stale" || r.Why == nil || *r.Why != "no newer reading" {
		t.Errorf("%+v", r)
	}
	if r := at["co_twa_8h"]; !r.AtLeast || r.Group != groupCO || !r.Derived {
		t.Errorf("%+v", r)
	}
	if at["speed"].Value != nil || at["suction"].AgeS != nil {
		t.Errorf("%+v %+v", at["speed"], at["suction"])
	}
}

// Every channel of the reference rig is in the group where a person looks for it.
func TestGroups(t *testing.T) {
	d, _ := careDesk(t)
	group := groupsOf(d.core)
	for name, want := range map[string]string{
		"wall_near": groupWalls, "wall_far_scale": groupWalls, "seal_health": groupWalls, "gas_out": groupGas, "filter_drop": groupGas,
		"filter_loading": groupGas, "return_line": groupGas, "bed_exit": groupGas, "suction": groupPressure, "hold_leak": groupPressure,
		"co": groupCO, "co_cohb": groupCO, "co_bump_age": groupCO, "speed": groupEngine, "shaft_power": groupEngine,
		"charcoal_left": groupCharcoal, "supply": groupInstrument, "air_temp": groupInstrument, "air_pressure": groupInstrument, "tick_late": groupInstrument,
	} {
		ch := d.core.channels[d.core.at[name]]
		if got := group(ch); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
	if got := group(sensors.Channel{Name: "exhaust", Quantity: sensors.Temperature}); got != groupGas {
		t.Error(got)
	}
}

// A daemon that goes away takes its values with it.
func TestWatchGone(t *testing.T) {
	l := seen(t, "calm")
	v, stop := serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { answer(w, l) }))
	var out safeLog
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	w := &liveView{v: v, out: &out, err: io.Discard, every: 200 * time.Millisecond, screen: screen{width: 80}}
	w.take(w.ask(ctx))
	if w.why != nil {
		t.Fatal(w.why)
	}
	if text := strings.Join(w.lines(w.at.Add(2900*time.Millisecond)), "\n"); !strings.Contains(text, "answered 2.9 s ago") || !strings.Contains(text, "°C") {
		t.Errorf("within 3 s:\n%s", text)
	}
	if text := strings.Join(w.lines(w.at.Add(3100*time.Millisecond)), "\n"); !strings.Contains(text, "NO ANSWER from the daemon for 3 s") || strings.Contains(text, "°C") {
		t.Errorf("after 3 s:\n%s", text)
	}
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	within(t, 5*time.Second, "a second block", func() bool { return strings.Count(out.String(), "answered 0.0 s ago") >= 2 })
	stop()
	within(t, 5*time.Second, "it says so", func() bool { return strings.Contains(out.String(), "NO ANSWER") })
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if _, after, _ := strings.Cut(out.String(), "NO ANSWER"); strings.Contains(after, "°C") || strings.Contains(after, "rpm") {
		t.Errorf("values of a daemon that is gone:\n%s", after)
	}
	if strings.Contains(out.String(), "\x1b") {
		t.Error("escape codes, and no terminal")
	}
}

// A daemon that takes the question and never answers is gone, too.
func TestWatchHung(t *testing.T) {
	v, _ := serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { <-r.Context().Done() }))
	w := &liveView{v: v}
	began := time.Now()
	if a := w.ask(t.Context()); a.err == nil || !strings.Contains(a.err.Error(), "no answer within") || time.Since(began) > liveFor+time.Second {
		t.Errorf("%v after %v", a.err, time.Since(began))
	}
}

func TestWatchCommand(t *testing.T) {
	_, v := careDesk(t)
	say := func(words ...string) (string, error) {
		var out bytes.Buffer
		err := watchLive(t.Context(), &call{args: append([]string{"--socket", v.socket}, words...), out: &out, err: io.Discard})
		return out.String(), err
	}
	text, err := say("--once")
	if !errors.Is(err, errNotGood) || !strings.Contains(text, "ALARM    co_fault") || !strings.Contains(text, "first: Step back upwind now") || strings.Contains(text, "\x1b") {
		t.Errorf("%v\n%s", err, text)
	}
	text, err = say("--once", "--json")
	var rows []readingRow
	if !errors.Is(err, errNotGood) || json.Unmarshal([]byte(text), &rows) != nil || len(rows) < 40 {
		t.Errorf("%v\n%s", err, text)
	}
	calm, _ := serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { answer(w, seen(t, "calm")) }))
	var out bytes.Buffer
	if err := watchLive(t.Context(), &call{args: []string{"--once", "--socket", calm.socket}, out: &out}); err != nil || !strings.Contains(out.String(), "no alarm stands") {
		t.Errorf("%v\n%s", err, &out)
	}
	for _, words := range [][]string{{"--every", "1ms"}, {"--every", "2h"}, {"now"}} {
		if _, err := say(words...); !errors.As(err, new(*usageError)) {
			t.Errorf("%v: %v", words, err)
		}
	}
}

// openTerminal is a terminal of a size, and what is shown on it.
func openTerminal(t *testing.T, cols, rows uint16) (user, screen *os.File) {
	t.Helper()
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		lacks(t, "a terminal: %v", err)
	}
	t.Cleanup(func() { screen.Close() })
	fd := int(screen.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if user, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0); err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(user.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Col: cols, Row: rows}); err != nil {
		t.Fatal(err)
	}
	return user, screen
}

// On a terminal it draws in place, in the terminal's size, and leaves it as it was.
func TestWatchTerminal(t *testing.T) {
	t.Setenv("NO_COLOR", "1")
	t.Setenv("TERM", "xterm")
	l := seen(t, "trouble")
	v, _ := serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { answer(w, l) }))
	user, screen := openTerminal(t, 100, 30)
	var shown safeLog
	read := make(chan struct{})
	go func() { io.Copy(&shown, screen); close(read) }() // ends with the last user of the terminal
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error, 1)
	go func() {
		done <- watchLive(ctx, &call{args: []string{"--every", "200ms", "--socket", v.socket}, out: user, err: io.Discard})
	}()
	within(t, 5*time.Second, "three screens", func() bool { return strings.Count(shown.String(), toHome) > 4 })
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	user.Close()
	<-read
	text := shown.String()
	if !strings.HasPrefix(text, enterScreen) || !strings.HasSuffix(text, leaveScreen) {
		t.Errorf("begins with %q, ends with %q", text[:min(40, len(text))], text[max(0, len(text)-40):])
	}
	if regexp.MustCompile("\x1b\\[[0-9;]*m").MatchString(text) {
		t.Error("colour, and NO_COLOR is set")
	}
	frames := strings.Split(text, toHome)
	frame := strings.Split(strings.ReplaceAll(strings.ReplaceAll(frames[3], toLineEnd, ""), toEnd, ""), "\r\n")
	fits(t, "terminal", frame, 100, 30)
	if len(frame) < 25 || !strings.HasPrefix(frame[2], "ALARM ") {
		t.Errorf("%d lines:\n%s", len(frame), strings.Join(frame, "\n"))
	}
}
