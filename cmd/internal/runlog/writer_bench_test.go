package runlog

import (
	"os"
	"testing"
)

// BenchmarkTick is what a tick of the loop pays; once a second it is a Second too.
func BenchmarkTick(b *testing.B) {
	w := New(testOpts(b.TempDir()))
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	rows := make([][]Cell, 10)
	for i := range rows {
		l.step()
		rows[i] = append([]Cell(nil), l.ticks...)
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i%500 == 0 { // as if stored
			w.q.reset()
		}
		w.Tick(int64(i), rows[i%10])
		i++
	}
}

func BenchmarkSecond(b *testing.B) {
	w := New(testOpts(b.TempDir()))
	l := newLoad(1)
	for !l.step() {
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i%60 == 0 {
			w.q.reset()
		}
		w.Second(int64(i), l.seconds)
		i++
	}
}

// hours writes that much of the reference load, a commit for each 5 s.
func hours(tb testing.TB, w *Writer, l *load, seconds int) {
	for s := 0; s < seconds; s += 5 {
		for range 50 {
			l.feed(w)
		}
		w.take()
		if err := w.attempt(); err != nil {
			tb.Fatal(err)
		}
	}
}

// BenchmarkBytesPerSample is the size of the closed file for an hour of the
// reference load.
func BenchmarkBytesPerSample(b *testing.B) {
	for b.Loop() {
		dir := b.TempDir()
		w := New(testOpts(dir))
		l := newLoad(1)
		w.Begin(l.head("s", 1))
		hours(b, w, l, 3600)
		if err := w.end(); err != nil {
			b.Fatal(err)
		}
		fi, err := os.Stat(pathOf(dir, 1))
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(fi.Size())/float64(l.samples), "B/sample")
		if float64(fi.Size()) > 9*float64(l.samples) {
			b.Error("more than 9 B a sample")
		}
	}
}
