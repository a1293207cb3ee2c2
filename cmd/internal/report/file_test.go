package report

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
)

// write puts the tale into a real file of the log.
func (s tale) write(tb testing.TB, dir string) string {
	tb.Helper()
	m, rec := s.head()
	w := runlog.New(runlog.Opts{Dir: dir, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return dawn }})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	h := m.Head
	h.Boot, h.Session = "boot-a", "session-a"
	h.Records = []runlog.Record{runlog.Anchor{Ms: bootMs, Wall: dawn, Quality: s.quality}, runlog.RunMark{Ms: bootMs, By: "phase"}}
	w.Begin(h)
	for _, all := range [][]runlog.Record{asRecords(rec.phases), asRecords(rec.transitions), asRecords(rec.notes), asRecords(rec.commands), asRecords(rec.bands), asRecords(rec.gaps)} {
		for _, r := range all {
			w.Put(r)
		}
	}
	wait := func(r runlog.Record) {
		if err := w.Wait(ctx, w.Put(r)); err != nil {
			tb.Fatal(err)
		}
	}
	last := int64(bootMs)
	s.rows(m.Channels, func(ms int64, input bool, cells []runlog.Cell) {
		if !input {
			w.Second(ms, cells)
			return
		}
		if ms-last >= 40_000 { // the queue holds 60 s
			last = ms
			wait(runlog.Anchor{Ms: ms, Wall: dawn.Add(time.Duration(ms-bootMs) * time.Millisecond), Quality: s.quality})
		}
		w.Tick(ms, cells)
	})
	wait(runlog.RunMark{Ms: m.LastMs, Ends: true, By: "phase"})
	if st := w.Stats(); st.Dropped > 0 {
		tb.Fatalf("%d rows dropped", st.Dropped)
	}
	cancel()
	if err := <-done; err != nil {
		tb.Fatal(err)
	}
	path, err := runlog.Find(dir, "last")
	if err != nil {
		tb.Fatal(err)
	}
	return path
}

func asRecords[R runlog.Record](all []R) (out []runlog.Record) {
	for _, r := range all {
		out = append(out, r)
	}
	return out
}

func open(tb testing.TB, path string) *runlog.File {
	tb.Helper()
	f, err := runlog.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := f.Close(); err != nil {
			tb.Error(err)
		}
	})
	return f
}

// What comes out of a real file is what the tale told.
func TestFromFile(t *testing.T) {
	one := plainTale(1)
	one.faults, one.hours, one.cool = true, 2.7, 0.5
	f := open(t, one.write(t, t.TempDir()))
	if f.Meta().Number != 1 {
		t.Fatalf("%s: number %d", filepath.Base(f.Path()), f.Meta().Number)
	}
	o := testOpts
	o.Rigs = []Rig{rigA()}
	var got, again bytes.Buffer
	if err := Write(&got, []*runlog.File{f}, o); err != nil {
		t.Fatal(err)
	}
	keep(t, "file.html", got.Bytes())
	if want := pageOf(t, testOpts, one.make(rigA())); !bytes.Equal(got.Bytes(), want) {
		at := 0
		for at < min(len(want), got.Len()) && want[at] == got.Bytes()[at] {
			at++
		}
		t.Errorf("from the file at %d: %.200q, want %.200q", at, got.Bytes()[at:], want[at:])
	}
	if err := Write(&again, []*runlog.File{f}, o); err != nil || !bytes.Equal(got.Bytes(), again.Bytes()) {
		t.Errorf("another time it is another page: %v", err)
	}
}

// The report of ten hours of the reference load takes less than 5 s.
func BenchmarkTenHours(b *testing.B) {
	long := plainTale(1)
	long.hours, long.cool, long.tick = 9, 0.5, 100*time.Millisecond
	path := long.write(b, b.TempDir())
	o := testOpts
	o.Rigs = []Rig{rigA()}
	for b.Loop() {
		if err := Write(io.Discard, []*runlog.File{open(b, path)}, o); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "s/report")
}
