package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// The gas of a span raises alarms, and while one stands nothing is calibrated:
// inside a bump test they count as a test.
func TestSpanWithGas(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.atRest()
		if err := h.core().startTest(time.Now(), "co", 100); err != nil {
			t.Fatal(err)
		}
		h.co = 90
		h.pass(150 * time.Second)
		r, err := h.core().calibrate(time.Now(), "co", "span", 100)
		if err != nil || r.After != 100 {
			t.Fatalf("%+v, %v", r, err)
		}
		h.shows(100)
		h.co = 0
		h.pass(30 * time.Second)
		if r, err := testRowOf(h.core(), "co"); err != nil || r.Clear {
			t.Fatalf("clear before the alarms have ended: %+v, %v", r, err)
		}
		h.pass(45 * time.Second)
		if r, err := testRowOf(h.core(), "co"); err != nil || !r.Clear {
			t.Fatalf("not clear: %+v, %v", r, err)
		}
		if end, err := h.core().endTest(time.Now(), "co"); err != nil || !end.Passed {
			t.Errorf("%+v, %v", end, err)
		}
		h.tick()
		if h.core().stands("co") {
			t.Error("an alarm of the test gas stands as a real one")
		}
	})
}

// spanDaemon answers what a guided span asks, and notes the orders.
type spanDaemon struct {
	fakeDaemon
	orders []string
	refuse bool
}

func (d *spanDaemon) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodPost {
		d.mu.Lock()
		d.orders = append(d.orders, strings.TrimPrefix(r.URL.Path, "/"))
		d.mu.Unlock()
	}
	if r.URL.Path == "/calibrate" && !d.refuse {
		json.NewEncoder(w).Encode(calRow{Channel: "co", What: "span", Before: ppm(90), After: ppm(100), Unit: "ppm"})
		return
	}
	d.fakeDaemon.ServeHTTP(w, r)
}

func TestGuidedSpan(t *testing.T) {
	gone, over := aired(100), row(90, 90, true, false)
	for _, c := range []struct {
		name, in string
		tests    []testRow
		refuse   bool
		err      error // as errors.Is; nil: none wanted
		says     string
		orders   []string
	}{
		{"done", "\n\n", []testRow{row(0, 0, false, true), row(90, 90, true, true), row(90, 90, true, true), gone}, false, nil,
			"it read 90 ppm, now 100 ppm", []string{"bumptest/start", "calibrate", "bumptest/end"}},
		{"refused", "\n\n", []testRow{row(90, 90, true, true)}, true, errRefused,
			"Not calibrated", []string{"bumptest/start", "calibrate", "bumptest/end"}},
		{"too slow", "\n", []testRow{row(90, 90, true, true), over}, false, errTestOver,
			"Gas on now", []string{"bumptest/start", "bumptest/end"}},
		{"nobody there", "", nil, false, errLeft, "Have the gas ready", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &spanDaemon{fakeDaemon: fakeDaemon{tests: c.tests}, refuse: c.refuse}
			v := listenTo(t, d)
			var out bytes.Buffer
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			g := newGuide(ctx, &call{in: strings.NewReader(c.in), out: &out})
			g.every, g.slowly = time.Millisecond, 0
			err := v.calibrate(ctx, g, calOrder{"co", "span", 100}, "ppm", 5*time.Millisecond)
			if c.err == errRefused && err != nil && strings.Contains(err.Error(), "the engine runs") {
				err = errRefused
			}
			if !errors.Is(err, c.err) {
				t.Errorf("%v, want %v", err, c.err)
			}
			if !strings.Contains(out.String(), c.says) {
				t.Errorf("%q is not said in:\n%s", c.says, &out)
			}
			d.mu.Lock()
			defer d.mu.Unlock()
			if !slices.Equal(d.orders, c.orders) {
				t.Errorf("ordered %v, want %v", d.orders, c.orders)
			}
		})
	}
}

// errRefused stands for what the daemon answers when it does not calibrate.
var errRefused = errors.New("refused")
