package main

import (
	"context"
	"os"
	"runtime"
	"runtime/debug"

	"golang.org/x/sys/unix"
)

// run watches the rig until it is told to stop.
func run(ctx context.Context, c *call) error {
	fs := c.flags("run", "run -c FILE")
	file := fs.String("c", "", "the configuration `FILE`")
	if err := c.parse(fs); err != nil {
		return err
	}
	cfg, err := loadConfig("run", *file)
	if err != nil {
		return err
	}
	lock, err := awaitBoard(ctx, boardLock, killed)
	if err != nil {
		return err
	}
	defer lock.Close()
	slim()
	// What it writes down names people and places: for its own user and group only.
	unix.Umask(0o027)
	lines := newLogQueue(c.err)
	defer lines.Close()
	w := &watch{cfg: cfg, board: newMachine(), clock: systemClock{}, log: newLog(lines)}
	w.log.Info("charwarden " + release + ": an aid, not a certified life-safety device")
	if err := w.assemble(); err != nil {
		return err
	}
	return w.start(ctx)
}

// slim fits the runtime to a daemon that mostly waits. Its work is a hundred short
// wakes a second, and a second processor would be woken for each of them only to
// find nothing to do: one costs a fifth less CPU time. The heap is small, so
// collecting it twice as often costs nothing to speak of.
func slim() {
	runtime.GOMAXPROCS(1)
	debug.SetGCPercent(50)
}

// printWarnings says at every start what a person should hear.
func (w *watch) printWarnings() {
	for _, s := range w.cfg.Warnings {
		w.log.Warn(s)
	}
	if unsafeState(w.cfg.State) {
		w.log.Warn("state directory is in memory: alarms, doses and zeros are lost at a power cut", "dir", w.cfg.State)
	}
}

// bootID names this boot of the machine; readings carry it because the wall
// clock of a board without a clock battery may repeat.
func bootID() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil || len(b) < 36 {
		return "unknown"
	}
	return string(b[:36])
}
