package sensors

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Heat is the board's own temperature from a thermal zone of Linux: a file
// that holds whole millidegrees Celsius as decimal text and a newline, as in
// "48312\n" for 48.312 degC (kernel documentation, "Generic Thermal Sysfs
// driver How To", from memory).
type Heat struct {
	Channel string
	Path    string // "/sys/class/thermal/thermal_zone0/temp"
}

// What a board can have: the junctions of industrial parts are rated to -40 or
// -55 and 125 degC (common practice, no source).
const heatLow, heatHigh = -55.0, 125.0

const heatText = 16 // bytes; a file with more of them is no thermal zone

// Sense takes one reading, in degC.
func (h *Heat) Sense(now time.Time, into []Reading) []Reading {
	text, err := readShort(h.Path)
	if err != nil {
		err = fmt.Errorf("heat: %w", err)
		if errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("%w; the zones that this board has are in /sys/class/thermal", err)
		}
		return append(into, Bad(h.Channel, now, NoAnswer, err))
	}
	milli, err := strconv.ParseInt(strings.TrimSpace(text), 10, 32)
	if err != nil || len(text) > heatText {
		return append(into, Bad(h.Channel, now, OutOfRange, fmt.Errorf("heat: %s: %q: not a number of millidegrees", h.Path, text)))
	}
	degC := float64(milli) / 1000
	if degC < heatLow || degC > heatHigh {
		return append(into, Bad(h.Channel, now, OutOfRange, fmt.Errorf("heat: %s: %g degC: a board has %g to %g", h.Path, degC, heatLow, heatHigh)))
	}
	return append(into, Reading{Channel: h.Channel, At: now, Value: degC, Raw: degC, Cold: nan, Status: Good})
}

// readShort reads a file of one short line; of a longer one it reads enough to
// show that it is too long.
func readShort(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, heatText+1))
	return string(b), err
}

// Disk is the room that is left on the file system on which a directory lies.
type Disk struct {
	Channel string
	Dir     string
	Room    func(dir string) (left, size uint64, err error) // in one unit; nil: the system's statfs
}

// Sense takes one reading: what is left to a user who is not root, as a share
// of the file system's size, 0..1. Blocks that the system keeps for root are
// not left, so that an empty disk need not read 1.
func (d *Disk) Sense(now time.Time, into []Reading) []Reading {
	room := d.Room
	if room == nil {
		room = statfs
	}
	left, size, err := room(d.Dir)
	switch {
	case err != nil:
		return append(into, Bad(d.Channel, now, NoAnswer, fmt.Errorf("disk: %s: %w; does the directory exist, is its disk mounted?", d.Dir, err)))
	case size == 0 || left > size:
		return append(into, Bad(d.Channel, now, OutOfRange, fmt.Errorf("disk: %s: %d of %d blocks left: no disk's file system", d.Dir, left, size)))
	}
	v := float64(left) / float64(size)
	return append(into, Reading{Channel: d.Channel, At: now, Value: v, Raw: v, Cold: nan, Status: Good})
}

// statfs is statfs(2): its counts are unsigned and of 64 bits on ARMv6, too.
func statfs(dir string) (left, size uint64, err error) {
	var st unix.Statfs_t
	for {
		if err = unix.Statfs(dir, &st); err != unix.EINTR {
			return st.Bavail, st.Blocks, err
		}
	}
}

// ClockSync is how long ago the wall clock was last known to be right. A board
// without a clock battery starts with a wrong one, and stays wrong until a
// network or a receiver sets it.
type ClockSync struct {
	Channel string
	Synced  func() (bool, error) // nil: the system's adjtimex

	last time.Time
}

// Sense takes one reading: 0 while the kernel calls its clock synchronised,
// else the seconds since it was last seen to be, or since the first look if it
// never was.
func (c *ClockSync) Sense(now time.Time, into []Reading) []Reading {
	synced := c.Synced
	if synced == nil {
		synced = adjtimex
	}
	right, err := synced()
	if err != nil {
		return append(into, Bad(c.Channel, now, NoAnswer, fmt.Errorf("clock: adjtimex: %w; is the daemon shut off from the clock (ProtectClock, or a filter of system calls)?", err)))
	}
	if right || c.last.IsZero() {
		c.last = now
	}
	v := max(0, now.Sub(c.last).Seconds())
	return append(into, Reading{Channel: c.Channel, At: now, Value: v, Raw: v, Cold: nan, Status: Good})
}

// adjtimex asks the kernel and sets nothing (modes 0, which needs no
// privilege). It sets STA_UNSYNC itself once its estimate of the error has
// grown to 16 s without an update (adjtimex(2); NTP_PHASE_LIMIT).
func adjtimex() (bool, error) {
	var t unix.Timex
	if _, err := unix.Adjtimex(&t); err != nil {
		return false, err
	}
	return t.Status&unix.STA_UNSYNC == 0, nil
}
