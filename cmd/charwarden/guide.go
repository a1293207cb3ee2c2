package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// guide leads a person through steps at the rig, in a terminal or through a
// pipe.
type guide struct {
	out      io.Writer
	enter    <-chan struct{} // one for each line; closed at the end of the input
	every    time.Duration   // between two looks
	slowly   time.Duration   // between two lines of progress where none can be overwritten
	terminal bool
	open     bool      // a line of progress stands unfinished
	shown    time.Time // when progress was last shown
}

var errLeft = errors.New("stopped: nothing was changed")

// newGuide reads the person's lines from now on.
func newGuide(ctx context.Context, c *call) *guide {
	enter := make(chan struct{})
	go func() { // ends with the input, or with the command
		defer close(enter)
		in := bufio.NewReader(c.in)
		for {
			if _, err := in.ReadString('\n'); err != nil {
				return
			}
			select {
			case enter <- struct{}{}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return &guide{out: c.out, enter: enter, every: time.Second / 2, slowly: 5 * time.Second, terminal: isTerminal(c.out)}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// say prints a line.
func (g *guide) say(format string, a ...any) {
	if g.open {
		fmt.Fprintln(g.out)
		g.open = false
	}
	fmt.Fprintf(g.out, format+"\n", a...)
}

// wait says what to do and waits until the person presses Enter.
func (g *guide) wait(ctx context.Context, format string, a ...any) error {
	g.say(format, a...)
	select {
	case _, more := <-g.enter:
		if !more {
			return errLeft
		}
		return nil
	case <-ctx.Done():
		return errLeft
	}
}

// progress shows where things stand: over the last such line in a terminal,
// else as a new one now and then.
func (g *guide) progress(now time.Time, format string, a ...any) {
	line := fmt.Sprintf(format, a...)
	switch {
	case g.terminal:
		fmt.Fprintf(g.out, "\r\x1b[K%s", line)
		g.open = true
	case g.shown.IsZero() || now.Sub(g.shown) >= g.slowly:
		fmt.Fprintln(g.out, line)
		g.shown = now
	}
}

// pause waits until the next look. entered tells that the person pressed
// Enter instead; left, that the command is to end.
func (g *guide) pause(ctx context.Context) (entered, left bool) {
	t := time.NewTimer(g.every)
	defer t.Stop()
	select {
	case <-t.C:
	case _, more := <-g.enter:
		if more {
			return true, false
		}
		g.enter = nil // nobody there: only time goes on
	case <-ctx.Done():
		return false, true
	}
	return false, false
}
