package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// bookLife is one life of a daemon without buses, whose wall clock can be set.
type bookLife struct {
	*testing.T
	core    *core
	grain   *grain
	book    *logbook
	now     time.Time
	offset  time.Duration // of the wall clock against now
	synced  bool
	said    bytes.Buffer // the daemon's log
	end     func()
	suction float64
	rpm     float64
}

// newBookLife begins at a time of the wall clock, so long after boot.
func newBookLife(t *testing.T, dir string, wall time.Time, boot string, sinceBoot time.Duration) *bookLife {
	t.Helper()
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	l := &bookLife{T: t, now: wall}
	cfg = withoutBoard(cfg)
	if l.core, err = newCore(cfg, wall); err != nil {
		t.Fatal(err)
	}
	was := saved{Cared: map[string]cared{"co": {ZeroAt: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)}}}
	if _, errs := l.core.restore(wall, was); errs != nil {
		t.Fatal(errs)
	}
	l.grain = newGrain(cfg)
	w := runlog.New(runlog.Opts{Dir: dir, Log: slog.New(slog.DiscardHandler), Now: time.Now, Keep: runlog.Keep{Runs: 10}})
	head := runlog.Head{Rig: "pump", Boot: boot, Session: sessionID(), Ms: sinceBoot.Milliseconds(), Tick: cfg.Tick, Version: "test"}
	l.book = newLogbook(w, l.core, l.grain, head, `{"cared":{"co":{"ZeroAt":"2026-06-01T00:00:00Z"}}}`, nil, func() bool { return l.synced }, slog.New(slog.NewTextHandler(&l.said, nil)))
	l.book.wall = func(now time.Time) time.Time { return now.Round(0).Add(l.offset) }
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := w.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	l.end = sync.OnceFunc(func() { cancel(); wg.Wait() })
	t.Cleanup(l.end)
	return l
}

// pass lets time pass, a tick each 100 ms.
func (l *bookLife) pass(d time.Duration) {
	l.Helper()
	readings := make([]sensors.Reading, len(l.core.cfg.Channels))
	for end := l.now.Add(d); l.now.Before(end); {
		l.now = l.now.Add(100 * time.Millisecond)
		for i, ch := range l.core.cfg.Channels {
			v := 20.0
			switch ch.Name {
			case "suction":
				v = l.suction
			case "speed":
				v = l.rpm
			}
			readings[i] = sensors.Reading{Channel: ch.Name, At: l.now, Value: v, Raw: v, Status: sensors.Good}
		}
		f := frame{now: l.now}
		used := l.grain.take(l.now, readings)
		f.transitions = l.core.step(l.now, used, l.grain.self(instrument{}))
		f.readings, f.phase, f.alarms = l.core.readings, l.core.phase(), l.core.engine.Alarms(nil)
		l.book.update(&f)
		for l.book.w.Stats().Queued > runlog.QueueBytes/2 {
			time.Sleep(time.Millisecond)
		}
	}
}

// do has a person order something, for the next tick.
func (l *bookLife) do(verb, body string) {
	l.Helper()
	d, err := verbs[verb]([]byte(body))
	if err == nil {
		_, err = l.core.carryOut(l.now, "anna", d)
	}
	if err != nil {
		l.Error(err)
	}
}

// csvTimes are the first column of an export.
func csvTimes(t *testing.T, dir, run string) (times []time.Time) {
	t.Helper()
	var out, errw bytes.Buffer
	if code := dispatch(t.Context(), []string{"export", run, "--dir", dir, "--format", "csv", "--every", "1s"}, strings.NewReader(""), &out, &errw); code != 0 {
		t.Fatalf("export: exit %d: %s", code, &errw)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) < 2 || rows[0][0] != "time" {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			t.Fatal(err)
		}
		if n := len(times); n > 0 && !at.After(times[n-1]) {
			t.Fatalf("%v after %v", at, times[n-1])
		}
		times = append(times, at)
	}
	return times
}

// A board without a clock battery starts in 1970. Once it is set, the part
// before that gets its true times too, and ages of calibrations are true from
// then on, in the daemon and in its replay.
func TestClockSetInTheRun(t *testing.T) {
	dir := t.TempDir()
	l := newBookLife(t, dir, time.Date(1970, 1, 1, 0, 0, 40, 0, time.UTC), "boot-a", 40*time.Second)
	l.pass(5 * time.Second)
	l.do("runs start", `{}`)
	l.pass(2 * time.Minute)
	if x := l.core.reading("co_zero_age"); x.Status == sensors.Good && x.Value > 0 {
		t.Errorf("a zero of 2026 is %g s old in 1970", x.Value)
	}
	if said := l.said.String(); strings.Count(said, "clock is not known to be right") != 1 || strings.Contains(said, "synchronised") {
		t.Errorf("before the clock is set: %s", said)
	}
	set := time.Date(2026, 6, 11, 8, 0, 0, 0, time.UTC)
	l.offset, l.synced = set.Sub(l.now), true
	l.pass(time.Minute)
	if said := l.said.String(); strings.Count(said, "clock is synchronised") != 1 {
		t.Errorf("once the clock is set: %s", said)
	}
	if x := l.core.reading("co_zero_age"); x.Value < 10*86400 || x.Value > 11*86400 {
		t.Errorf("its age after the clock is set: %+v", x)
	}
	l.end()
	times := csvTimes(t, dir, "last")
	first, last := times[0], times[len(times)-1]
	if d := first.Sub(set.Add(-2 * time.Minute)); d.Abs() > time.Second {
		t.Errorf("begins at %v, want %v", first, set.Add(-2*time.Minute))
	}
	if d := last.Sub(set.Add(time.Minute)); d.Abs() > time.Second {
		t.Errorf("ends at %v, want %v", last, set.Add(time.Minute))
	}
	rows, exact, err := rerunFile(t.Context(), filepath.Join(dir, "000001.db"), nil, new(progress))
	if err != nil || exact != nil {
		t.Fatal(err, exact)
	}
	for _, r := range rows {
		if !r.Logged || !r.Replayed {
			t.Errorf("%+v", r)
		}
	}
	sameAgain(t, filepath.Join(dir, "000001.db"))
}

// After a power cut the clock may be an hour back: two runs that overlap in
// wall time stay two, each in its own order. The second is over midnight.
func TestClockBackAfterPowerCut(t *testing.T) {
	dir := t.TempDir()
	start := time.Date(2026, 6, 1, 23, 58, 0, 0, time.UTC)
	a := newBookLife(t, dir, start, "boot-a", time.Minute)
	a.do("runs start", `{}`)
	a.pass(3 * time.Minute)
	a.end()
	b := newBookLife(t, dir, start.Add(time.Minute), "boot-b", 30*time.Second)
	b.do("runs start", `{}`)
	b.pass(3 * time.Minute)
	b.end()
	one, two := csvTimes(t, dir, "1"), csvTimes(t, dir, "2")
	if !two[0].Before(one[len(one)-1]) {
		t.Errorf("the second begins at %v, the first ends at %v: the test wants them to overlap", two[0], one[len(one)-1])
	}
	if y, z := two[0].Day(), two[len(two)-1].Day(); y != 1 || z != 2 {
		t.Errorf("days %d and %d", y, z)
	}
	metas, err := runlog.List(dir)
	if err != nil || len(metas) != 2 || metas[0].Run == nil || metas[1].Run == nil {
		t.Fatalf("%+v %v", metas, err)
	}
}

// A run after a long lead-in, and each further one, has a file of its own; the
// parts of a session replay as one.
func TestFilesOfASession(t *testing.T) {
	dir := t.TempDir()
	l := newBookLife(t, dir, time.Date(2026, 6, 1, 7, 0, 0, 0, time.UTC), "boot-a", time.Minute)
	l.pass(leadIn + time.Minute)
	l.do("runs start", `{}`)
	l.suction, l.rpm = 500, 3000
	l.pass(time.Minute)
	l.do("runs stop", `{}`)
	l.suction, l.rpm = 0, 0
	l.pass(10 * time.Second)
	l.do("runs start", `{}`)
	l.do("note", `{"text":"moisture 7 %"}`)
	l.suction = 2000 // plugged
	l.pass(3 * time.Minute)
	l.end()
	metas, err := runlog.List(dir)
	if err != nil || len(metas) != 3 {
		t.Fatalf("%d files, %v", len(metas), err)
	}
	for i, m := range metas {
		if m.Part != i+1 || (m.Run != nil) != (i > 0) || m.Session != metas[0].Session || m.Why != "" {
			t.Errorf("file %d: %+v", i+1, m)
		}
	}
	for _, run := range []string{"000002.db", "000003.db"} {
		rows, exact, err := rerunFile(t.Context(), filepath.Join(dir, run), nil, new(progress))
		if err != nil || exact != nil {
			t.Fatal(run, err, exact)
		}
		for _, r := range rows {
			if !r.Logged || !r.Replayed {
				t.Errorf("%s: %+v", run, r)
			}
		}
		if run == "000003.db" && len(rows) == 0 {
			t.Error("nothing alarmed: the test wants something to compare")
		}
	}
	// Without the first part it is still judged, and said not to be the same.
	if err := os.Remove(filepath.Join(dir, "000001.db")); err != nil {
		t.Fatal(err)
	}
	if _, exact, err := rerunFile(t.Context(), filepath.Join(dir, "000003.db"), nil, new(progress)); err != nil || exact == nil {
		t.Errorf("the beginning of the session is gone: %v, %v", exact, err)
	}
}

// A rig that is lit again while it is sealed: the one run ends in its file, the
// other begins in the next.
func TestRunAfterRun(t *testing.T) {
	dir := t.TempDir()
	l := newBookLife(t, dir, time.Date(2026, 6, 1, 7, 0, 0, 0, time.UTC), "boot-a", time.Minute)
	l.do("runs start", `{}`)
	l.pass(10 * time.Second)
	l.core.runs.mark(true, byPhase)
	l.core.runs.mark(false, byPhase)
	l.do("filled", `{"kilograms":2}`)
	l.pass(10 * time.Second)
	l.do("runs stop", `{}`)
	l.pass(time.Second)
	l.end()
	metas, err := runlog.List(dir)
	if err != nil || len(metas) != 2 {
		t.Fatalf("%d files, %v", len(metas), err)
	}
	one, two := metas[0].Run, metas[1].Run
	if one == nil || two == nil || one.To == 0 || one.End != byPhase || two.By != byPhase || two.End != "anna" || two.From < one.To {
		t.Errorf("%+v, %+v", one, two)
	}
	if rows, exact, err := rerunFile(t.Context(), filepath.Join(dir, "000002.db"), nil, new(progress)); err != nil || exact != nil {
		t.Errorf("%d rows, %v, %v", len(rows), exact, err)
	}
}

// The notebook is written by hand and by the daemon, and a file a day keeps an
// idle daemon's log apart.
func TestMarks(t *testing.T) {
	dir := t.TempDir()
	l := newBookLife(t, dir, time.Date(2026, 6, 1, 7, 0, 0, 0, time.UTC), "boot-a", time.Minute)
	l.do("runs start", `{}`)
	l.do("weighed", `{"kilograms":6}`)
	l.pass(10 * time.Second)
	l.suction, l.rpm = 500, 3000
	l.pass(2 * time.Minute)
	l.suction = 3 // the lid is opened, the engine runs on
	l.pass(30 * time.Second)
	l.suction = 500
	l.do("filled", `{"kilograms":1.5}`)
	l.pass(30 * time.Second)
	l.end()
	f, err := runlog.Open(filepath.Join(dir, "000001.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	notes, err := f.Notes()
	var got []string
	for _, n := range notes {
		got = append(got, n.String())
	}
	want := "left 6 kg (anna); engine runs (detected); lid open (detected); refuel 1.5 kg (anna); lid shut (detected)"
	if s := strings.Join(got, "; "); err != nil || s != want {
		t.Errorf("%s %v\nwant %s", s, err, want)
	}
}
