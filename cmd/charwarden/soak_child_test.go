package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	_ "unsafe" // for go:linkname

	"charwarden/alarms"
	"charwarden/config"
)

// soakMark is how the daemon of a soak finds itself at one time of the rig.
type soakMark struct {
	Hours      float64  // on the rig
	BusyRSS    float64  // MB (10^6 bytes), as it comes
	RSS        float64  // MB, when the garbage has been given back
	Anon       float64  // MB of it that are no file's; the rest is the program itself
	Heap       float64  // MB of objects that live
	Goroutines int      // this one and the soak's own too
	Alarms     int      // raised so far
	Stalls     int      // times that the machine itself stood still for a second
	Faults     []string // of rig and wires since the mark before
}

// soakPatience is how long the fast clock of a soak waits for whoever it woke.
// Time stands still meanwhile, so that a slow machine makes no tick late: a tick
// is missed only if the loop itself stays away longer than this, or if the
// machine stalls, which a witness that has nothing to do with the loop notices.
const (
	soakPatience = 10 * time.Second
	machineStall = time.Second

	soakHush = 300 * time.Millisecond // until every part of the daemon waits for its first time
)

// airSleep is how periph's driver of the air sensor (devices v3.7.4) waits for a
// measurement: in real time, which at this speed would be most of what passes.
//
//go:linkname airSleep periph.io/x/devices/v3/bmxx80.doSleep
var airSleep func(time.Duration)

// soakDaemon is the whole daemon on a simulated rig whose days pass as fast as
// the machine can follow: soakdaemon BROKER METRICS DIR SEED STEP. It writes a
// soakMark as a line of JSON after each STEP of the rig's time, and time stands
// still until a line on its standard input answers. The end of the input is its
// end.
func soakDaemon() {
	runtime.MemProfileRate = 0 // as in a release, where the linker finds nobody who asks for the profile: its table of stacks only grows
	cfg, err := config.Parse("reference.toml", config.Reference())
	must(err)
	seed, err := strconv.ParseUint(os.Args[4], 10, 64)
	must(err)
	step, err := time.ParseDuration(os.Args[5])
	must(err)
	cfg = withoutBoard(cfg)
	cfg.MQTT.Broker, cfg.Metrics.Listen = os.Args[1], os.Args[2]
	cfg.Outputs.RunPermit = permitPin
	cfg.State, cfg.Socket = os.Args[3], filepath.Join(os.Args[3], "socket")
	cfg.RunLog.Dir = filepath.Join(os.Args[3], "runs")
	debug.SetGCPercent(50) // as in run; the rig takes the other processor

	clock := newFastClock(1e6)
	clock.patience = soakPatience
	airSleep = func(d time.Duration) { clock.Sleep(context.Background(), d) }
	rig, err := newSimRig(cfg, clock, seed)
	must(err)
	rig.WallNear(clock.start.Add(4 * time.Hour)) // all of the model's memory of its past is there before anything is measured
	must(readProgram())                          // and all of the program: what grows after that is memory
	days := &soakDays{rig: rig, seed: seed, start: clock.start}
	lines := newLogQueue(os.Stderr)
	w := &watch{cfg: cfg, board: rig.board, clock: clock, log: newLog(lines)}
	w.prepare = func(s *saved) {
		s.Cared = map[string]cared{"co": {ZeroAt: clock.start.AddDate(0, 0, -20).Round(0), BumpAt: clock.start.Add(-time.Hour).Round(0)}}
	}
	var raised, stalls atomic.Int64
	w.more = []output{func(f *frame) {
		for i := range f.transitions {
			if f.transitions[i].State == alarms.Unacknowledged {
				raised.Add(1)
			}
		}
	}}
	must(w.assemble())

	ctx, cancel := context.WithCancel(context.Background())
	flows, end := context.WithCancel(context.Background()) // until the last bus has answered
	time.AfterFunc(soakHush, func() { clock.Run(flows) })
	go days.live(ctx)
	go days.breakThings(ctx)
	go witness(ctx, &stalls)
	go keepUp(ctx, w)
	go func() {
		defer cancel()
		answers := bufio.NewScanner(os.Stdin)
		for n := time.Duration(1); ; n++ {
			clock.Sleep(ctx, clock.start.Add(n*step).Sub(clock.Now()))
			m := weighSelf()
			m.Hours, m.Alarms, m.Stalls, m.Faults = clock.Now().Sub(clock.start).Hours(), int(raised.Load()), int(stalls.Load()), days.happened()
			line, err := json.Marshal(m)
			must(err)
			fmt.Println(string(line))
			if !answers.Scan() {
				return
			}
		}
	}()
	must(w.start(ctx))
	end()
	lines.Close()
}

func must(err error) {
	if err != nil {
		panic(err)
	}
}

// weighSelf measures this process, first as it comes and then without its
// garbage.
func weighSelf() (m soakMark) {
	m.BusyRSS, _ = residentOf(os.Getpid())
	debug.FreeOSMemory()
	m.RSS, m.Anon = residentOf(os.Getpid())
	live := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(live)
	m.Heap = float64(live[0].Value.Uint64()) / 1e6
	m.Goroutines = runtime.NumGoroutine()
	for range 10 { // somebody whose question was broken off takes a moment to leave
		time.Sleep(10 * time.Millisecond)
		m.Goroutines = min(m.Goroutines, runtime.NumGoroutine())
	}
	return m
}

// residentOf is a process's memory in MB (10^6 bytes), and what of it is no
// file's: VmRSS and RssAnon of proc_pid_status(5).
func residentOf(pid int) (all, anon float64) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	must(err)
	for _, v := range []struct {
		key string
		MB  *float64
	}{{"VmRSS:", &all}, {"RssAnon:", &anon}} {
		kB, err := statusKB(status, v.key)
		must(err)
		*v.MB = kB * 1024 / 1e6
	}
	return all, anon
}

// readProgram makes every page of this program's file resident, as they would
// become one by one, whenever a line of it runs for the first time.
func readProgram() error {
	maps, err := os.ReadFile("/proc/self/maps")
	if err != nil {
		return err
	}
	exe, err := os.Executable()
	if err != nil {
		return err
	}
	mem, err := os.Open("/proc/self/mem")
	if err != nil {
		return err
	}
	defer mem.Close()
	for line := range strings.Lines(string(maps)) { // from-to rights offset device inode path: proc_pid_maps(5)
		f := strings.Fields(line)
		if len(f) < 6 || f[5] != exe || strings.Contains(f[1], "w") {
			continue
		}
		var from, to int64
		if _, err := fmt.Sscanf(f[0], "%x-%x", &from, &to); err != nil {
			return fmt.Errorf("%s: %w", f[0], err)
		}
		for at := from; at < to; at += int64(os.Getpagesize()) {
			if _, err := mem.ReadAt(make([]byte, 1), at); err != nil {
				return err
			}
		}
	}
	return nil
}

// witness counts how often the machine stands still. It waits for nothing of
// the daemon's.
func witness(ctx context.Context, stalls *atomic.Int64) {
	const nap = 20 * time.Millisecond
	for ctx.Err() == nil {
		slept := time.Now()
		time.Sleep(nap)
		if time.Since(slept) > nap+machineStall {
			stalls.Add(1)
		}
	}
}

// keepUp lets time stand still while the disk has more of the run log to write
// than a daemon at the pace of life ever leaves it: a disk knows nothing of a
// fast clock.
func keepUp(ctx context.Context, w *watch) {
	for ctx.Err() == nil {
		w.clock.Sleep(ctx, time.Second)
		for began := time.Now(); w.loop.book.w.Stats().Queued > 24<<10 && time.Since(began) < soakPatience/4; {
			time.Sleep(time.Millisecond)
		}
	}
}
