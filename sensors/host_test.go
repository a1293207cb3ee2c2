package sensors

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

var _ = []Sensor{&Heat{}, &Disk{}, &ClockSync{}}

func one(t *testing.T, s Sensor, now time.Time) Reading {
	t.Helper()
	got := s.Sense(now, nil)
	if len(got) != 1 || !got[0].At.Equal(now) || got[0].Channel != "host" {
		t.Fatalf("%+v", got)
	}
	r := got[0]
	if good := r.Status == Good; good != (r.Err == nil) || good == math.IsNaN(r.Value) || !math.IsNaN(r.Cold) {
		t.Errorf("%+v: contradicts itself", r)
	}
	return r
}

var hostNow = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

func TestHeat(t *testing.T) {
	file := filepath.Join(t.TempDir(), "temp")
	for _, c := range []struct {
		text   string
		status Status
		degC   float64
	}{
		{"48312\n", Good, 48.312}, {"0\n", Good, 0}, {"-20500\n", Good, -20.5}, {"-55000", Good, -55}, {"125000\n", Good, 125},
		{"125001\n", OutOfRange, 0}, {"-55001\n", OutOfRange, 0}, {"-273150\n", OutOfRange, 0}, {"", OutOfRange, 0}, {"\n", OutOfRange, 0},
		{"48.3\n", OutOfRange, 0}, {"4e4\n", OutOfRange, 0}, {"0x1000", OutOfRange, 0}, {"NaN", OutOfRange, 0}, {"48312 48312\n", OutOfRange, 0},
		{"99999999999999\n", OutOfRange, 0}, {strings.Repeat("0", 40) + "1", OutOfRange, 0}, {"48312" + strings.Repeat(" ", 12) + "0", OutOfRange, 0},
	} {
		if err := os.WriteFile(file, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		r := one(t, &Heat{Channel: "host", Path: file}, hostNow)
		if r.Status != c.status || c.status == Good && r.Value != c.degC {
			t.Errorf("%q: %v %v %v", c.text, r.Status, r.Value, r.Err)
		}
		if r.Err != nil && !strings.HasPrefix(r.Err.Error(), "heat: "+file+": ") {
			t.Errorf("%q: %v", c.text, r.Err)
		}
	}
	r := one(t, &Heat{Channel: "host", Path: file + "0"}, hostNow)
	if r.Status != NoAnswer || !errors.Is(r.Err, fs.ErrNotExist) || !strings.Contains(r.Err.Error(), "/sys/class/thermal") {
		t.Errorf("no file: %v %v", r.Status, r.Err)
	}
	if r := one(t, &Heat{Channel: "host", Path: t.TempDir()}, hostNow); r.Status != NoAnswer {
		t.Errorf("a directory: %v", r.Status)
	}
}

// Whatever the file says, a value is one that a board can have.
func FuzzHeat(f *testing.F) {
	for _, s := range []string{"48312\n", "-1", "", "125001", "1_000", "+7\n"} {
		f.Add(s)
	}
	file := filepath.Join(f.TempDir(), "temp")
	f.Fuzz(func(t *testing.T, text string) {
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		r := one(t, &Heat{Channel: "host", Path: file}, hostNow)
		if r.Status == Good && !(r.Value >= -55 && r.Value <= 125) || r.Status != Good && r.Status != OutOfRange {
			t.Errorf("%q: %v %v", text, r.Status, r.Value)
		}
	})
}

func TestDisk(t *testing.T) {
	for _, c := range []struct {
		left, size uint64
		err        error
		status     Status
		share      float64
	}{
		{25, 100, nil, Good, 0.25}, {0, 100, nil, Good, 0}, {100, 100, nil, Good, 1},
		{1 << 62, 1 << 63, nil, Good, 0.5}, // past 32 bits
		{0, 0, nil, OutOfRange, 0}, {101, 100, nil, OutOfRange, 0}, {25, 100, unix.EIO, NoAnswer, 0},
	} {
		r := one(t, &Disk{Channel: "host", Dir: "/logs", Room: func(dir string) (uint64, uint64, error) {
			if dir != "/logs" {
				t.Errorf("asked about %s", dir)
			}
			return c.left, c.size, c.err
		}}, hostNow)
		if r.Status != c.status || c.status == Good && r.Value != c.share || c.err != nil && !errors.Is(r.Err, c.err) {
			t.Errorf("%d of %d, %v: %v %v %v", c.left, c.size, c.err, r.Status, r.Value, r.Err)
		}
	}
	r := one(t, &Disk{Channel: "host", Dir: filepath.Join(t.TempDir(), "none")}, hostNow)
	if r.Status != NoAnswer || !errors.Is(r.Err, fs.ErrNotExist) || !strings.Contains(r.Err.Error(), "mounted") {
		t.Errorf("no directory: %v %v", r.Status, r.Err)
	}
}

// missing skips a test that needs what this machine has not; in CI it fails.
func missing(t *testing.T, what string, err error) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s: %v", what, err)
	}
	t.Skipf("%s: %v", what, err)
}

// The system's own numbers against df of coreutils, a second reader of statfs.
func TestDiskAgainstDf(t *testing.T) {
	dir := t.TempDir()
	out, err := exec.Command("df", "--output=avail,size", "-B1", dir).Output()
	if err != nil {
		missing(t, "no df of coreutils", err)
	}
	f := strings.Fields(string(out))
	avail, _ := strconv.ParseFloat(f[len(f)-2], 64)
	size, _ := strconv.ParseFloat(f[len(f)-1], 64)
	r := one(t, &Disk{Channel: "host", Dir: dir}, hostNow)
	if want := avail / size; r.Status != Good || math.Abs(r.Value-want) > 0.01 {
		t.Errorf("%v %v %v, df %v", r.Status, r.Value, r.Err, want)
	}
}

func TestClockSync(t *testing.T) {
	synced, fail := false, error(nil)
	c := &ClockSync{Channel: "host", Synced: func() (bool, error) { return synced, fail }}
	for _, s := range []struct {
		after  time.Duration
		synced bool
		err    error
		status Status
		age    float64
	}{
		{0, false, unix.EPERM, NoAnswer, 0},
		{10 * time.Second, false, nil, Good, 0}, // the first look
		{25 * time.Second, false, nil, Good, 15},
		{30 * time.Second, true, nil, Good, 0},
		{40 * time.Second, true, nil, Good, 0},
		{50 * time.Second, false, unix.EPERM, NoAnswer, 0},
		{24 * time.Hour, false, nil, Good, 86400 - 40},
		{25 * time.Hour, true, nil, Good, 0},
	} {
		synced, fail = s.synced, s.err
		r := one(t, c, hostNow.Add(s.after))
		if r.Status != s.status || s.status == Good && r.Value != s.age || !errors.Is(r.Err, s.err) {
			t.Errorf("at %v: %v %v %v, want %v %v", s.after, r.Status, r.Value, r.Err, s.status, s.age)
		}
	}
}

// The kernel's own answer: reading needs no privilege, and TIME_ERROR (5) is
// what it returns for an unsynchronised clock (adjtimex(2)).
func TestKernelClock(t *testing.T) {
	var raw unix.Timex
	state, err := unix.Adjtimex(&raw)
	if err != nil {
		missing(t, "the clock is shut off here", err)
	}
	got, err := adjtimex()
	if err != nil {
		t.Fatal(err)
	}
	if got && state == unix.TIME_ERROR && raw.Status&(unix.STA_PPSFREQ|unix.STA_PPSTIME|unix.STA_CLOCKERR) == 0 {
		t.Errorf("synchronised, and the kernel returns TIME_ERROR, status %#x", raw.Status)
	}
	if r := one(t, &ClockSync{Channel: "host"}, hostNow); r.Status != Good || r.Value != 0 {
		t.Errorf("%v %v %v", r.Status, r.Value, r.Err)
	}
}
