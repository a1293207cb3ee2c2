package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// fakeDaemon answers a guided command from a script and notes what was asked.
type fakeDaemon struct {
	mu    sync.Mutex
	asked []string
	tests []testRow // the answers to looks at a bump test; the last stays
}

func (d *fakeDaemon) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	d.mu.Lock()
	defer d.mu.Unlock()
	body, _ := io.ReadAll(r.Body)
	if asked := r.Method + " " + r.URL.String() + " " + string(body); !slices.Contains(d.asked, asked) {
		d.asked = append(d.asked, asked)
	}
	v := 3.0
	switch {
	case r.URL.Path == "/check":
		json.NewEncoder(w).Encode([]checkRow{{Channel: "co", State: "good", Value: &v, Unit: "ppm"}, {Channel: "speed", Unit: "rpm"}})
	case r.URL.Path == "/calibrate" && bytes.Contains(body, []byte(`"span"`)):
		http.Error(w, "calibrate co: the engine runs", http.StatusConflict)
	case r.URL.Path == "/calibrate":
		zero := 0.0
		json.NewEncoder(w).Encode(calRow{Channel: "co", What: "zero", Before: &v, After: &zero, Unit: "ppm"})
	case strings.HasPrefix(r.URL.Path, "/bumptest"):
		json.NewEncoder(w).Encode(d.tests[0])
		if len(d.tests) > 1 {
			d.tests = d.tests[1:]
		}
	}
}

func (d *fakeDaemon) has(asked string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Contains(d.asked, asked)
}

func (d *fakeDaemon) listen(t *testing.T) *visit {
	t.Helper()
	return listenTo(t, d)
}

// listenTo has h answer at a socket, and returns a visit to it.
func listenTo(t *testing.T, h http.Handler) *visit {
	t.Helper()
	path := t.TempDir() + "/s"
	l, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: h}
	done := make(chan struct{})
	go func() { srv.Serve(l); close(done) }()
	t.Cleanup(func() { srv.Close(); <-done })
	return newVisit(path, nil)
}

func ppm(v float64) *float64 { return &v }

func row(value, peak float64, passed, running bool) testRow {
	return testRow{Channel: "co", Value: &value, Unit: "ppm", Status: "good", Peak: &peak, Asked: ppm(100),
		Passed: passed, Running: running, LeftS: 290}
}

// aired is a test whose gas has been away for so long that nothing stands.
func aired(peak float64) testRow {
	r := row(0, peak, true, true)
	r.Clear = true
	return r
}

func TestGuidedBumpTest(t *testing.T) {
	for _, c := range []struct {
		name, in string
		tests    []testRow
		err      error
		says     []string
		ends     bool // the command orders the end
	}{
		{"passes and clears by itself", "\n",
			[]testRow{row(0, 0, false, true), row(60, 60, false, true), row(95, 95, true, true), row(40, 95, true, true), aired(95)},
			nil, []string{"highest 60 ppm", "Gas off", "Passed: the most that it read is 95 ppm"}, true},
		{"ended by Enter", "\n\n", []testRow{row(0, 0, false, true)}, errNotGood, []string{"FAILED", "0 ppm"}, true},
		{"ended by the daemon", "\n", []testRow{row(0, 0, false, true), row(12, 12, false, false)}, errNotGood, []string{"FAILED", "12 ppm"}, false},
		{"nobody there", "", []testRow{row(0, 0, false, true)}, errLeft, nil, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &fakeDaemon{tests: c.tests}
			v := d.listen(t)
			var out bytes.Buffer
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			g := newGuide(ctx, &call{in: strings.NewReader(c.in), out: &out})
			g.every, g.slowly = time.Millisecond, 0
			if err := v.bumpTest(ctx, g, testOrder{"co", 100}); !errors.Is(err, c.err) {
				t.Errorf("%v, want %v", err, c.err)
			}
			for _, s := range c.says {
				if !strings.Contains(out.String(), s) {
					t.Errorf("%q is not said in:\n%s", s, &out)
				}
			}
			if strings.Contains(out.String(), "\x1b") {
				t.Error("escape codes, and no terminal")
			}
			if started := d.has(`POST /bumptest/start {"channel":"co","ppm":100}`); started != (c.in != "") {
				t.Errorf("started: %v", started)
			}
			if ended := d.has(`POST /bumptest/end {"channel":"co","ppm":100}`); ended != c.ends {
				t.Errorf("ended by the command: %v, want %v", ended, c.ends)
			}
		})
	}
}

// Ctrl-C must not leave a test running: what it raises would count as test.
func TestBumpTestInterrupted(t *testing.T) {
	d := &fakeDaemon{tests: []testRow{row(0, 0, false, true)}}
	v := d.listen(t)
	ctx, cancel := context.WithCancel(t.Context())
	in, type_ := io.Pipe()
	defer type_.Close()
	g := newGuide(ctx, &call{in: in, out: io.Discard})
	g.every = time.Hour
	done := make(chan error, 1)
	go func() { done <- v.bumpTest(ctx, g, testOrder{"co", 0}) }()
	type_.Write([]byte("\n"))
	within(t, 5*time.Second, "the test begins", func() bool { return d.has(`POST /bumptest/start {"channel":"co","ppm":0}`) })
	cancel()
	<-done
	if !d.has(`POST /bumptest/end {"channel":"co","ppm":0}`) {
		t.Errorf("not ended: %q", d.asked)
	}
}

func TestGuidedCalibration(t *testing.T) {
	for _, c := range []struct {
		name, in string
		order    calOrder
		err      string // "" = none
		says     string
	}{
		{"zero", "\n", calOrder{"co", "zero", 0}, "", "it read 3 ppm, now 0 ppm"},
		{"refused", "\n\n", calOrder{"co", "span", 50}, "the engine runs", "put 50 ppm on the cell"},
		{"nobody there", "", calOrder{"co", "zero", 0}, errLeft.Error(), "Engine off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &fakeDaemon{tests: []testRow{row(50, 50, true, true)}}
			v := d.listen(t)
			var out bytes.Buffer
			g := newGuide(t.Context(), &call{in: strings.NewReader(c.in), out: &out})
			g.every = time.Millisecond
			err := v.calibrate(t.Context(), g, c.order, "ppm", 20*time.Millisecond)
			if (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
				t.Errorf("%v, want %q", err, c.err)
			}
			if !strings.Contains(out.String(), c.says) {
				t.Errorf("%q is not said in:\n%s", c.says, &out)
			}
		})
	}
}
