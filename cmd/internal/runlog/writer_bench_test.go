package runlog

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"
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
	if w.Stats().Dropped > 0 {
		b.Error("rows were dropped")
	}
}

func BenchmarkSecond(b *testing.B) {
	w := New(testOpts(b.TempDir()))
	l := newLoad(1)
	w.Begin(l.head("s", 1))
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
	if w.Stats().Dropped > 0 {
		b.Error("rows were dropped")
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

// BenchmarkResident is what the writer adds to the resident memory of a process
// that had none, after half an hour of the reference load.
func BenchmarkResident(b *testing.B) {
	if runtime.GOOS != "linux" {
		b.Skip("needs Linux: reads /proc/self/status")
	}
	for b.Loop() {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), childDir+"="+b.TempDir(), childFirst+"="+childWeigh)
		out, err := c.Output()
		if err != nil {
			b.Fatal(err)
		}
		var before, after [2]int
		if _, err := fmt.Sscan(string(out), &before[0], &before[1], &after[0], &after[1]); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(before[0]+before[1]), "kB-before")
		b.ReportMetric(float64(after[0]-before[0]), "kB-anon")
		b.ReportMetric(float64(after[1]-before[1]), "kB-file") // of the program itself: what of it has run by now
	}
}

// weigh prints the resident memory of this process before a writer is there,
// and after half an hour of the reference load.
func weigh(dir string) error {
	l := newLoad(1)
	l.step()
	fmt.Println(resident())
	w := New(testOpts(dir))
	end := running(w)
	w.Begin(l.head("s", 1))
	for range 18_000 {
		l.feed(w)
		l.follow(w)
	}
	fmt.Println(resident())
	return end()
}

// resident is RssAnon and RssFile of this process, kB (proc_pid_status(5)),
// after a collection.
func resident() (anon, file int) {
	debug.FreeOSMemory()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		panic(err)
	}
	for _, v := range []struct {
		key string
		kB  *int
	}{{"RssAnon:", &anon}, {"RssFile:", &file}} {
		_, rest, _ := bytes.Cut(b, []byte(v.key))
		if _, err := fmt.Sscan(string(rest), v.kB); err != nil {
			panic(err)
		}
	}
	return anon, file
}
