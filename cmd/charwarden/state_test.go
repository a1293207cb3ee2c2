package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"charwarden/sensors"
)

// state number n.
func state(n int) saved { return saved{Zeros: map[string]sensors.Zero{"suction": {Pa: float64(n)}}} }

// number is n of state(n); 0 of an empty one.
func number(s saved) int { return int(s.Zeros["suction"].Pa) }

// keep runs f until the returned func is called or the test ends.
func keep(t testing.TB, f *stateFile) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- f.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return stop
}

// lines is a log that a test reads.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *lines) count(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.b.String(), text)
}

func (l *lines) log() *slog.Logger { return slog.New(slog.NewTextHandler(l, nil)) }

func TestStateOutlivesTheProcess(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new") // made when first written
	f := newStateFile(dir, quiet())
	if got := f.load(); number(got) != 0 {
		t.Errorf("no file: %+v", got)
	}
	f.put(state(1)) // replaced by the newer before anyone writes
	f.put(state(2))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := f.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if got := newStateFile(dir, quiet()).load(); number(got) != 2 {
		t.Errorf("read back %d, want 2", number(got))
	}
	if err := f.Fault(); err != nil {
		t.Error(err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*")); len(left) != 1 {
		t.Errorf("left over: %v", left)
	}
}

// The file stays near its limit; what put was given may change at once; what a
// process that was killed left of a new file is not used.
func TestJournalStaysShort(t *testing.T) {
	dir := t.TempDir()
	f := newStateFile(dir, quiet())
	f.journal.limit = 1000
	stale, _ := three(t)
	if err := os.WriteFile(f.journal.path+".new", stale, 0o600); err != nil {
		t.Fatal(err)
	}
	stop := keep(t, f)
	s := state(0)
	for n := range 200 {
		s.Zeros["suction"] = sensors.Zero{Pa: float64(n)}
		if !f.store(s, time.Minute) {
			t.Fatalf("not stored: %d: %v", n, f.Fault())
		}
		delete(s.Zeros, "suction")
		if got := newStateFile(dir, quiet()).load(); number(got) != n {
			t.Fatalf("stored %d, read %d", n, number(got))
		}
	}
	stop()
	if st, err := os.Stat(f.journal.path); err != nil || st.Size() > 1200 {
		t.Errorf("%d bytes of 1000 (%v)", st.Size(), err)
	}
}

func TestStateOfAnOlderReleaseIsTakenOverOnce(t *testing.T) {
	dir := t.TempDir()
	old := filepath.Join(dir, "state.json")
	if err := os.WriteFile(old, []byte(`{"zeros": {"suction": {"pa": 7}}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 { // a process that stores nothing loses nothing
		if got := newStateFile(dir, quiet()).load(); number(got) != 7 {
			t.Fatalf("took over %d, want 7", number(got))
		}
	}
	f := newStateFile(dir, quiet())
	stop := keep(t, f)
	f.put(state(8))
	stop()
	if got := newStateFile(dir, quiet()).load(); number(got) != 8 {
		t.Errorf("read %d, want 8", number(got))
	}
	os.Remove(f.journal.path)
	if got := newStateFile(dir, quiet()).load(); number(got) != 0 {
		t.Errorf("the older file was read again: %d", number(got))
	}
	if _, err := os.Stat(old + ".old"); err != nil {
		t.Errorf("the older file is lost: %v", err)
	}
}

func TestSpoiltStateIsKeptAside(t *testing.T) {
	for _, name := range []string{"state.json", "state.journal"} {
		path := filepath.Join(t.TempDir(), name)
		const spoilt = `{"zeros":{"suction":{"pa":`
		if err := os.WriteFile(path, []byte(spoilt), 0o600); err != nil {
			t.Fatal(err)
		}
		var said lines
		if got := newStateFile(filepath.Dir(path), said.log()).load(); number(got) != 0 {
			t.Errorf("%s: %+v", name, got)
		}
		if b, err := os.ReadFile(path + ".bad"); err != nil || string(b) != spoilt {
			t.Errorf("%s is lost: %q, %v", name, b, err)
		}
		if said.count(name+".bad") != 1 {
			t.Errorf("%s: said %q", name, said.b.String())
		}
	}
}

// The disk hangs, as a FIFO that nobody reads does, in the write(2) of the loop's
// way. The loop pays once.
func TestHungDiskCostsTheLoopOneWait(t *testing.T) {
	dir := t.TempDir()
	var said lines
	f := newStateFile(dir, said.log())
	f.patience = 300 * time.Millisecond
	if err := syscall.Mkfifo(f.journal.path, 0o600); err != nil {
		t.Fatal(err)
	}
	keep(t, f)
	const limit, slack = 20 * time.Millisecond, 150 * time.Millisecond
	took := func(n int) time.Duration {
		start := time.Now()
		if f.store(state(n), limit) {
			t.Errorf("stored %d on a disk that hangs", n)
		}
		return time.Since(start)
	}
	if d := took(1); d < limit || d > limit+slack {
		t.Errorf("the first took %v, want %v", d, limit)
	}
	var rest time.Duration
	for n := range 100 {
		rest += took(2 + n)
	}
	if rest > slack {
		t.Errorf("the next hundred took %v, want no wait", rest)
	}
	within(t, 5*time.Second, "a fault", func() bool { return f.Fault() != nil })
	if n := said.count("disk is slow"); n != 1 {
		t.Errorf("said %d times that the disk is slow, want once", n)
	}

	unhang, err := os.OpenFile(f.journal.path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unhang.Close()
	within(t, 5*time.Second, "catching up", func() bool { return f.handled.Load() == f.asked })
	if !f.store(state(200), 5*time.Second) {
		t.Error("does not wait again after the disk caught up")
	}
	within(t, 5*time.Second, "the end of the fault", func() bool { return f.Fault() == nil })
	if said.count("stored again") != 1 {
		t.Errorf("said: %s", said.b.String())
	}
	if got := newStateFile(dir, quiet()).load(); number(got) != 200 {
		t.Errorf("read %d, want 200", number(got))
	}
}

// Only the sync hangs, as of a memory card: no store waits for it.
func TestSlowSyncCostsTheLoopNothing(t *testing.T) {
	f := newStateFile(t.TempDir(), quiet())
	f.patience = 300 * time.Millisecond
	if err := syscall.Mkfifo(f.journal.path+".new", 0o600); err != nil {
		t.Fatal(err)
	}
	stop := keep(t, f)
	for n := range 100 {
		if !f.store(state(n), time.Minute) {
			t.Fatalf("not stored: %d: %v", n, f.Fault())
		}
		if got := newStateFile(filepath.Dir(f.journal.path), quiet()).load(); number(got) != n {
			t.Fatalf("stored %d, read %d", n, number(got))
		}
	}
	within(t, 5*time.Second, "a fault", func() bool { return f.Fault() != nil })
	unhang, err := os.OpenFile(f.journal.path+".new", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unhang.Close()
	stop() // a FIFO cannot be synced: that fails, and the next is a file
	if got := newStateFile(filepath.Dir(f.journal.path), quiet()).load(); number(got) != 99 {
		t.Errorf("read %d, want 99", number(got))
	}
}

// A disk that refuses is said once, tried with each put, and its end is said.
func TestRefusingDisk(t *testing.T) {
	top := t.TempDir()
	dir := filepath.Join(top, "state")
	if err := os.WriteFile(dir, nil, 0o600); err != nil { // no directory can be made there
		t.Fatal(err)
	}
	var said lines
	f := newStateFile(dir, said.log())
	keep(t, f)
	for n := range 50 {
		if f.store(state(n), time.Minute) {
			t.Fatal("stored in a directory that is none")
		}
	}
	if err := f.Fault(); !errors.Is(err, syscall.ENOTDIR) {
		t.Errorf("fault %v, want %v", err, syscall.ENOTDIR)
	}
	if n := said.count("not stored"); n != 1 {
		t.Errorf("said %d times, want once", n)
	}
	os.Remove(dir)
	if !f.store(state(60), time.Minute) {
		t.Error("not stored on a disk that is well again")
	}
	within(t, 5*time.Second, "the end of the fault", func() bool { return f.Fault() == nil })
	if said.count("stored again") != 1 {
		t.Errorf("said: %s", said.b.String())
	}
}

// A journal that cannot be appended to is made anew; one that was taken away
// comes back.
func TestJournalHealsItself(t *testing.T) {
	dir := t.TempDir()
	f := newStateFile(dir, quiet())
	if err := os.Mkdir(f.journal.path+".new", 0o700); err != nil { // no new file can be made
		t.Fatal(err)
	}
	stop := keep(t, f)
	if !f.store(state(1), time.Minute) {
		t.Error("not appended")
	}
	within(t, 5*time.Second, "a fault", func() bool { return f.Fault() != nil })
	os.Remove(f.journal.path + ".new")
	os.Remove(f.journal.path)
	if !f.store(state(2), time.Minute) {
		t.Error("not stored")
	}
	stop()
	if err := f.Fault(); err != nil {
		t.Error(err)
	}
	if got := newStateFile(dir, quiet()).load(); number(got) != 2 {
		t.Errorf("read %d, want 2", number(got))
	}
}

// kill -9 at random instants, with a new file made every few lines: what store
// said is there afterwards. Every process goes on from where the one before it
// was killed.
func TestKilledAtAnyInstant(t *testing.T) {
	if dir := os.Getenv("STATE_TEST_DIR"); dir != "" {
		countForEver(t, dir)
	}
	dir, had, most := t.TempDir(), 0, 0
	for range 100 {
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		cmd := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestKilledAtAnyInstant$")
		cmd.Env = append(os.Environ(), "STATE_TEST_DIR="+dir, "TMPDIR="+t.TempDir())
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		told := had
		in := bufio.NewScanner(out)
		for in.Scan() {
			if told == had {
				time.AfterFunc(rand.N(15*time.Millisecond), func() { cmd.Process.Kill() })
			}
			n := 0
			if _, err := fmt.Sscan(in.Text(), &n); err != nil || n != told+1 {
				t.Fatalf("after %d: %q (%v)", told, in.Text(), err)
			}
			told = n
		}
		cmd.Wait()
		got := number(newStateFile(dir, quiet()).load())
		if got != told && got != told+1 { // one may have been stored and not yet told
			t.Fatalf("stored %d, read %d", told, got)
		}
		most, had = max(most, told-had), got
	}
	if most < 20 {
		t.Errorf("at most %d stored by a process: no new file was made", most)
	}
}

// countForEver is the process that is killed. It prints each number once it is
// stored.
func countForEver(t *testing.T, dir string) {
	f := newStateFile(dir, slog.New(slog.NewTextHandler(os.Stderr, nil)))
	f.journal.limit = 500 // 8 lines
	n := number(f.load())
	keep(t, f)
	for {
		n++
		if f.store(state(n), time.Minute) {
			os.Stdout.WriteString(fmt.Sprintln(n))
		}
	}
}

// BenchmarkStore is what a tick with an alarm change waits, with a state of the
// size that a rig with sixty alarms has.
func BenchmarkStore(b *testing.B) {
	f := newStateFile(b.TempDir(), quiet())
	keep(b, f)
	s := saved{Zeros: make(map[string]sensors.Zero)}
	for n := range 100 {
		s.Zeros[fmt.Sprintf("channel_%d", n)] = sensors.Zero{Pa: float64(n) / 3, At: time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC)}
	}
	line, err := encodeLine(s)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(line)))
	for b.Loop() {
		if !f.store(s, time.Minute) {
			b.Fatal(f.Fault())
		}
	}
}
