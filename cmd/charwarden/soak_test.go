package main

import (
	"bufio"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
)

var (
	soakHours = flag.Float64("soak.hours", 2, "how many hours of the rig TestSoak lasts: 2 takes half a minute, 100 six to nine minutes")
	soakSeed  = flag.Uint64("soak.seed", 1, "of what goes wrong in TestSoak")
	soakPlot  = flag.String("soak.plot", "", "a `FILE`.svg or .png for the figure of TestSoak")
)

// soaked is a mark and what is seen of the daemon from outside at that time.
type soaked struct {
	soakMark
	seen   float64 // MB resident
	fds    int
	page   map[string]float64
	files  int // of the run log
	bytes  int64
	broken bool // the broker was away since the mark before
}

// soak is the outside of a soak: the daemon's process, its broker, and the
// people around the rig.
type soak struct {
	t      *testing.T
	cmd    *exec.Cmd
	in     io.WriteCloser
	marks  <-chan soakMark
	log    *safeLog
	dir    string
	page   string
	broker *soakBroker
	kim    *visit
	asked  int // answers at the socket
	late   int // questions that it did not answer in time
	broken int // that were broken off at a mark
	unread int // scrapes of which no whole page came
	did    map[string]int
}

// The whole daemon through days at the rig, with faults that come and go, people
// who acknowledge them, a broker that is away now and then, and a scrape and a
// question at the socket every few seconds: it grows in nothing and misses no
// tick, and every run is written down whole.
func TestSoak(t *testing.T) {
	hours := *soakHours
	if underRace {
		hours = min(hours, 0.75)
	}
	step, away := time.Hour, 4 // marks from one time without a broker to the next
	if hours < 10 {
		step, away = 5*time.Minute, 12
	}
	t.Logf("%g hours of the rig, seed %d", hours, *soakSeed)
	s := startSoak(t, step)
	began := time.Now()
	var seen []soaked
	for float64(len(seen))*step.Hours() < hours-1e-9 {
		broken := len(seen)%away == 2
		if broken {
			s.broker.stop()
		}
		m, ok := s.live(broken)
		if !ok {
			t.Fatalf("the daemon ended:\n%s", tailOf(s.log.String(), 4000))
		}
		seen = append(seen, s.look(m, broken))
		if hours >= 10 {
			last := &seen[len(seen)-1]
			fmt.Fprintf(os.Stderr, "%5.1f h at %4.0f s: %.2f MB (heap %.2f), %d alarms, %s\n", last.Hours, time.Since(began).Seconds(),
				last.RSS, last.Heap, last.Alarms, strings.Join(last.Faults, ", "))
		}
		if _, err := io.WriteString(s.in, "\n"); err != nil {
			t.Fatal(err)
		}
	}
	took := time.Since(began)
	s.end()
	t.Logf("%g h of the rig in %v: %.0f times as fast as life; people: %v; %d answers at the socket, %d too late, %d broken off at a mark",
		hours, took.Round(time.Second), hours*3600/took.Seconds(), s.did, s.asked, s.late, s.broken)
	t.Logf("\n%s", soakTable(seen))
	if *soakPlot != "" {
		if err := soakChart(seen).write(*soakPlot); err != nil {
			t.Error(err)
		}
	}
	s.judge(seen)
}

func startSoak(t *testing.T, step time.Duration) *soak {
	s := &soak{t: t, dir: t.TempDir(), page: fmt.Sprintf("127.0.0.1:%d", freePort(t)), broker: newSoakBroker(t), log: &safeLog{}, did: map[string]int{}}
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	s.cmd = &exec.Cmd{Path: exe, Stderr: s.log,
		Args: []string{"soakdaemon", "tcp://" + s.broker.addr, s.page, s.dir, strconv.FormatUint(*soakSeed, 10), step.String()}}
	if s.in, err = s.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.cmd.Process.Kill(); s.cmd.Wait() })
	marks := make(chan soakMark)
	s.marks = marks
	go func() {
		defer close(marks)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			var m soakMark
			if json.Unmarshal(lines.Bytes(), &m) == nil {
				marks <- m
			}
		}
	}()
	s.kim = newVisit(filepath.Join(s.dir, "socket"), nil)
	within(t, 10*time.Second, "the page", func() bool { return scrape(s.page) == nil })
	return s
}

// look sees the daemon from outside while time stands still.
func (s *soak) look(m soakMark, away bool) soaked {
	x := soaked{soakMark: m, broken: away, page: gauges(s.t, s.page)}
	x.seen, _ = residentOf(s.cmd.Process.Pid)
	fds, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", s.cmd.Process.Pid))
	if err != nil {
		s.t.Fatal(err)
	}
	x.fds = len(fds)
	files, err := os.ReadDir(filepath.Join(s.dir, "runs"))
	if err != nil {
		s.t.Fatal(err)
	}
	for _, f := range files {
		if info, err := f.Info(); err == nil {
			x.bytes += info.Size()
			if strings.HasSuffix(f.Name(), ".db") {
				x.files++
			}
		}
	}
	return x
}

// end stops the daemon in order and reads all that it has written.
func (s *soak) end() {
	s.in.Close()
	done := make(chan error, 1)
	go func() { done <- s.cmd.Wait() }()
	for range s.marks {
	}
	select {
	case err := <-done:
		if err != nil {
			s.t.Errorf("the daemon: %v\n%s", err, tailOf(s.log.String(), 4000))
		}
	case <-time.After(20 * time.Second):
		s.t.Error("the daemon does not end")
	}
	files, err := filepath.Glob(filepath.Join(s.dir, "runs", "*.db"))
	if err != nil || len(files) == 0 {
		s.t.Fatalf("no run was written down: %v", err)
	}
	for _, f := range files {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
		v, err := runlog.Verify(ctx, f, nil)
		cancel()
		if err != nil || len(v.Wrong) > 0 {
			s.t.Errorf("%s: %v %v", filepath.Base(f), err, v.Wrong)
		}
	}
}

func tailOf(text string, n int) string { return text[max(0, len(text)-n):] }
