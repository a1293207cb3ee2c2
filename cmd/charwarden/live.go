package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// How long an answer of the daemon counts as live, and how long one may take.
const (
	liveFor  = 3 * time.Second
	liveWait = 2500 * time.Millisecond
)

// liveView asks the daemon again and again and shows what it says.
type liveView struct {
	v        *visit
	out, err io.Writer
	every    time.Duration
	asJSON   bool
	terminal *os.File // nil: lines without escape codes
	screen   screen

	last    liveRow
	answers int
	at      time.Time // when the last answer was asked for
	why     error     // why there was none since
	trend   trend
}

// watchLive is the command `watch`.
func watchLive(ctx context.Context, c *call) error {
	fs := c.flags("watch", "watch [-c FILE | --socket PATH] [--every DURATION] [--once] [--json]")
	where := addVisitFlags(fs)
	every := fs.Duration("every", time.Second, "ask again after this `DURATION`, 200ms to 1h; on a screen at most 2s")
	once := fs.Bool("once", false, "show it once; exit code 1 if an alarm stands")
	asJSON := fs.Bool("json", false, "the channels as JSON, one array each time")
	if err := c.parse(fs); err != nil {
		return err
	}
	if *every < 200*time.Millisecond || *every > time.Hour {
		return &usageError{fmt.Sprintf("watch: --every %v: want 200ms to 1h", *every)}
	}
	v, err := where.visit("watch")
	if err != nil {
		return err
	}
	w := &liveView{v: v, out: c.out, err: c.err, every: *every, asJSON: *asJSON, screen: screen{cfg: v.cfg, width: 80}}
	if f, ok := c.out.(*os.File); ok && isTerminal(f) && os.Getenv("TERM") != "dumb" && !*asJSON && !*once {
		w.terminal, w.every = f, min(w.every, 2*time.Second)
	}
	if a := w.ask(ctx); a.err != nil { // a daemon that was never there is no loss
		return fmt.Errorf("watch: %w", a.err)
	} else {
		w.take(a)
	}
	if *once {
		if err := w.block(); err != nil {
			return err
		}
		if slices.ContainsFunc(w.last.Alarms, func(r levelRow) bool { return r.stands() }) {
			return errNotGood
		}
		return nil
	}
	return w.Run(ctx)
}

// answered is what came of one question.
type answered struct {
	row liveRow
	at  time.Time
	err error
}

func (w *liveView) ask(ctx context.Context) (a answered) {
	ctx, cancel := context.WithTimeoutCause(ctx, liveWait, fmt.Errorf("no answer within %v", liveWait))
	defer cancel()
	a.at = time.Now() // an answer is as old as its question
	if a.err = w.v.get(ctx, "/live", &a.row); errors.Is(a.err, context.DeadlineExceeded) {
		a.err = context.Cause(ctx)
	}
	return a
}

func (w *liveView) take(a answered) {
	if w.why = a.err; a.err != nil {
		return
	}
	w.last, w.at = a.row, a.at
	w.answers++
	w.trend.take(a.row)
}

// Run shows it until ctx ends; that is no error.
func (w *liveView) Run(ctx context.Context) error {
	asked := make(chan answered)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		for wait(ctx, w.every); ctx.Err() == nil; wait(ctx, w.every) {
			select {
			case asked <- w.ask(ctx):
			case <-ctx.Done():
			}
		}
	}()
	if w.terminal == nil {
		return w.blocks(ctx, asked)
	}
	fmt.Fprint(w.out, enterScreen)
	defer fmt.Fprint(w.out, leaveScreen)
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		if err := w.redraw(); err != nil {
			return err
		}
		select {
		case a := <-asked:
			w.take(a)
		case <-tick.C:
		case <-ctx.Done():
			return nil
		}
	}
}

// The few sequences that `watch` needs (ECMA-48, and private modes 25 and 1049
// as terminals of the xterm kind and the Linux console have them or pass over
// them). At the end nothing is left that could pass for live.
const (
	enterScreen = "\x1b[?1049h\x1b[?25l\x1b[H\x1b[J"
	leaveScreen = "\x1b[H\x1b[J\x1b[?25h\x1b[?1049l"
	toHome      = "\x1b[H"
	toLineEnd   = "\x1b[K"
	toEnd       = "\x1b[J"
)

// redraw draws over the screen as it was.
func (w *liveView) redraw() error {
	w.screen.width, w.screen.height = 80, 24
	if ws, err := unix.IoctlGetWinsize(int(w.terminal.Fd()), unix.TIOCGWINSZ); err == nil && ws.Col > 0 && ws.Row > 0 {
		w.screen.width, w.screen.height = int(ws.Col), int(ws.Row)
	}
	w.screen.colour = os.Getenv("NO_COLOR") == ""
	_, err := io.WriteString(w.out, toHome+strings.Join(w.lines(time.Now()), toLineEnd+"\n")+toLineEnd+toEnd)
	return err
}

// lines are the screen at a time.
func (w *liveView) lines(now time.Time) []string {
	age := now.Sub(w.at)
	if age > liveFor {
		return w.screen.gone(age, w.why)
	}
	return w.screen.draw(&w.last, &w.trend, age)
}

// blocks writes one block for each answer, and one that says so where none came.
func (w *liveView) blocks(ctx context.Context, asked <-chan answered) error {
	if err := w.block(); err != nil {
		return err
	}
	for {
		select {
		case a := <-asked:
			w.take(a)
			if ctx.Err() != nil {
				return nil
			}
			if err := w.block(); err != nil {
				return err
			}
		case <-ctx.Done():
			return nil
		}
	}
}

func (w *liveView) block() error {
	now := time.Now()
	if w.asJSON && w.why != nil {
		fmt.Fprintf(w.err, "charwarden: watch: %v\n", w.why)
		return nil
	}
	if w.asJSON {
		return writeJSON(w.out, w.last.Readings)
	}
	lines := w.lines(now)
	if w.why != nil { // what came before is not repeated
		lines = w.screen.gone(now.Sub(w.at), w.why)
	}
	_, err := io.WriteString(w.out, strings.Join(lines, "\n")+"\n\n")
	return err
}
