package runlog

import (
	"bufio"
	"bytes"
	"context"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

var moreCuts = flag.Int("runlog.cuts", 0, "how often TestKilled kills and TestImageCuts cuts; 0: a few times each")

func cutsOr(few int) int {
	if *moreCuts > 0 {
		return *moreCuts
	}
	return few
}

// childDir names the directory in which the test binary is to be a writer that
// tells what it does, and in the next variable its first note.
const (
	childDir   = "RUNLOG_TEST_DIR"
	childFirst = "RUNLOG_TEST_FIRST"
	childWeigh = "weigh" // in place of the first note: tell what the writer weighs
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := child(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	flag.Parse()
	os.Exit(m.Run())
}

// child writes until it is killed. It tells each row before it hands it over
// ("t ms") and each note when Wait has returned ("n number"), and runs as fast
// as the disk can follow by 5 s of rows.
func child(dir string) error {
	if os.Getenv(childFirst) == childWeigh {
		return weigh(dir)
	}
	var note int
	if _, err := fmt.Sscan(os.Getenv(childFirst), &note); err != nil {
		return err
	}
	w := New(testOpts(dir))
	end := running(w)
	defer end()
	r := rand.New(rand.NewPCG(uint64(note), 5))
	l := newLoad(uint64(note))
	l.ms = 40_000 + int64(note)*1_000_000 // later than all before
	w.Begin(l.head(fmt.Sprint(note), 1))
	for part := 1; ; {
		fmt.Printf("t %d\n", l.ms+100)
		l.feed(w)
		switch {
		case r.IntN(15) == 0:
			if err := w.Wait(context.Background(), w.Put(Note{Ms: l.ms, Kind: "remark", Text: fmt.Sprint(note)})); err != nil {
				return err
			}
			fmt.Printf("n %d\n", note)
			note++
		case r.IntN(300) == 0:
			part++
			w.Begin(l.head(fmt.Sprint(note), part))
		}
		l.follow(w)
	}
}

// life of a child.
type life struct {
	cmd  *exec.Cmd
	done chan struct{} // its output has ended

	mu     sync.Mutex
	handed int64
	noted  int // first that is not known to be durable
	first  int
}

func born(t testing.TB, dir string, first int) *life {
	t.Helper()
	c := &life{cmd: exec.Command(os.Args[0]), done: make(chan struct{}), noted: first, first: first}
	c.cmd.Env = append(os.Environ(), childDir+"="+dir, fmt.Sprintf("%s=%d", childFirst, first))
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(c.done)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			var n int64
			kind, rest, _ := strings.Cut(lines.Text(), " ")
			if _, err := fmt.Sscan(rest, &n); err != nil {
				continue // cut off in the line
			}
			c.mu.Lock()
			if kind == "t" {
				c.handed = n
			} else {
				c.noted = int(n) + 1
			}
			c.mu.Unlock()
		}
	}()
	return c
}

// told is what the child has told so far.
func (c *life) told() (handed int64, noted int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.handed, c.noted
}

// kill ends it by SIGKILL and reads what it had told.
func (c *life) kill(t testing.TB) {
	t.Helper()
	if err := c.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-c.done
	c.cmd.Wait() // says that it was killed
}

// stillThere is what is wrong with dir after the end of a child.
func stillThere(ctx context.Context, dir string, c *life, handed int64, noted int) error {
	if handed < 40_000+int64(c.first)*1_000_000 { // before its first row
		handed = 0
	}
	return survivedFrom(ctx, dir, 40_000+int64(c.first)*1_000_000, ticked(handed), durably(c.first), durably(noted))
}

func TestKilled(t *testing.T) {
	dir := t.TempDir()
	r := rand.New(rand.NewPCG(1, 6))
	note := 0
	for n := range cutsOr(25) {
		c := born(t, dir, note)
		time.Sleep(time.Duration(10+r.IntN(250)) * time.Millisecond)
		c.kill(t)
		handed, noted := c.told()
		if err := stillThere(t.Context(), dir, c, handed, noted); err != nil {
			t.Fatalf("kill %d: %v", n+1, err)
		}
		note = noted + 1 // the one that may or may not be there
		if n%10 == 9 {   // it would take ever longer to read all
			if err := os.RemoveAll(dir); err != nil {
				t.Fatal(err)
			}
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d notes", note)
}

// A life that was cut off is said by the next one, one that ended in order is not.
func TestCutOffIsSaid(t *testing.T) {
	dir := t.TempDir()
	begin := func() string {
		var said bytes.Buffer
		o := testOpts(dir)
		o.Log = slog.New(slog.NewTextHandler(&said, nil))
		w := New(o)
		end := running(w)
		l := newLoad(1)
		w.Begin(l.head("s", 1))
		soon(t, w, w.Put(Note{Ms: l.ms, Text: "here"}))
		if err := end(); err != nil {
			t.Fatal(err)
		}
		return said.String()
	}
	const words = "was cut off"
	if said := begin(); strings.Contains(said, words) {
		t.Errorf("the first life: %s", said)
	}
	if said := begin(); strings.Contains(said, words) {
		t.Errorf("after an orderly end: %s", said)
	}
	c := born(t, dir, 0)
	for _, noted := c.told(); noted < 1; _, noted = c.told() {
		time.Sleep(10 * time.Millisecond)
	}
	c.kill(t)
	if said := begin(); !strings.Contains(said, words) || !strings.Contains(said, "000003.db") {
		t.Errorf("after a kill: %s", said)
	}
}

// TestImageCuts shuts a mounted file system down at random instants while a
// child writes in it, without letting it flush anything: what only the kernel
// held is lost, and the next mount finds what a power cut would have left.
func TestImageCuts(t *testing.T) {
	live, device := loopMounted(t, 64<<20)
	node := "/dev/" + device
	r := rand.New(rand.NewPCG(2, 6))
	note := 0
	for n := range cutsOr(6) {
		for _, p := range must(filepath.Glob(filepath.Join(live, "runs", "*"))) {
			if err := os.Remove(p); err != nil {
				t.Fatal(err)
			}
		}
		c := born(t, filepath.Join(live, "runs"), note)
		time.Sleep(time.Duration(50+r.IntN(400)) * time.Millisecond)
		_, noted := c.told()
		shutdown(t, live)
		c.kill(t)
		handed, _ := c.told()
		shell(t, "umount", live)
		shell(t, "mount", "-o", "noatime", node, live)
		if err := stillThere(t.Context(), filepath.Join(live, "runs"), c, handed, noted); err != nil {
			t.Fatalf("cut %d: %v", n+1, err)
		}
		shell(t, "umount", live)
		shell(t, "fsck.ext4", "-fn", node)
		shell(t, "mount", "-o", "noatime", node, live)
		note = noted + 1
	}
	t.Logf("%d notes", note)
}

// shutdown is FS_IOC_SHUTDOWN of Linux with EXT4_GOING_FLAGS_NOLOGFLUSH: from
// now on nothing reaches the device, as after a power cut (fs/ext4/ioctl.c).
func shutdown(t testing.TB, dir string) {
	t.Helper()
	const request, noLogFlush = 0x8004587d, 2
	f, err := os.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := unix.IoctlSetPointerInt(int(f.Fd()), request, noLogFlush); err != nil {
		lacks(t, "a kernel that shuts down a file system: %v", err)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
