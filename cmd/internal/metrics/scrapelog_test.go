package metrics

import (
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestScrapeLogIsBounded(t *testing.T) {
	var w words
	d := newDial()
	l := &scrapeLog{log: slog.New(slog.NewTextHandler(&w, nil)), now: d.Now}
	for range 5 {
		l.Println("error gathering metrics:", errors.New("two of a kind"))
	}
	if n := strings.Count(w.String(), "two of a kind"); n != 1 {
		t.Errorf("%d lines for 5 errors in a minute:\n%s", n, w.String())
	}
	d.advance(logEvery)
	l.Println("error gathering metrics:", errors.New("two of a kind"))
	if !strings.HasSuffix(w.String(), "unlogged_before=4\n") || strings.Count(w.String(), "\n") != 2 {
		t.Errorf("after a minute:\n%s", w.String())
	}
}

// A sample that the registry refuses costs that sample, not the page, and does
// not stay silent.
func TestDefectCostsOneSample(t *testing.T) {
	var w words
	d := newDial()
	o := pumpOpts(d)
	o.Log = slog.New(slog.NewTextHandler(&w, nil))
	e, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	e.Update(d.Now(), []sensors.Reading{reading("wall", d.Now(), 400)}, nil,
		Health{Bus: []BusHealth{{Name: "\xff", Stuck: time.Second}}}) // not UTF-8
	expect(t, e, "first", map[string]string{wallValue: "400"})
	expect(t, e, "second", map[string]string{`promhttp_metric_handler_errors_total{cause="gathering"}`: "1"})
	if n := strings.Count(w.String(), "level=WARN"); n != 1 {
		t.Errorf("logged %d times:\n%s", n, w.String())
	}
}
