package runlog

import (
	"context"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

var deviceTime = flag.Duration("runlog.device", 30*time.Second, "how long BenchmarkDeviceWrites watches the device")

// loopMounted is a new ext4 on a loop device, and the device's name.
func loopMounted(tb testing.TB, size int64) (dir, device string) {
	tb.Helper()
	if os.Getuid() != 0 {
		lacks(tb, "root, to mount a file system on a loop device")
	}
	for _, name := range []string{"losetup", "mkfs.ext4", "mount", "fsck.ext4"} {
		tool(tb, name, "e2fsprogs mount")
	}
	image := filepath.Join(tb.TempDir(), "image")
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		tb.Fatal(err)
	}
	if err := os.Truncate(image, size); err != nil {
		tb.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", image).CombinedOutput(); err != nil {
		tb.Fatalf("mkfs.ext4: %v: %s", err, out)
	}
	node := attached(tb, image)
	tb.Cleanup(func() { shell(tb, "losetup", "--detach", node) })
	dir = tb.TempDir()
	shell(tb, "mount", "-o", "noatime", node, dir)
	tb.Cleanup(func() { shell(tb, "umount", dir) })
	return dir, filepath.Base(node)
}

// attached is the loop device that image is now.
func attached(tb testing.TB, image string) string {
	tb.Helper()
	out, err := exec.Command("losetup", "--find", "--show", image).CombinedOutput()
	if err != nil {
		lacks(tb, "a free loop device: %s", out)
	}
	return strings.TrimSpace(string(out))
}

func shell(tb testing.TB, name string, args ...string) {
	tb.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		tb.Errorf("%s: %v: %s", name, err, out)
	}
}

// written is how many bytes the device was told to write so far: the seventh
// field of its stat, in sectors of 512 B (Documentation/block/stat.rst of Linux).
func written(tb testing.TB, device string) int64 {
	tb.Helper()
	shell(tb, "sync")
	b, err := os.ReadFile("/sys/block/" + device + "/stat")
	if err != nil {
		tb.Fatal(err)
	}
	n, err := strconv.ParseInt(strings.Fields(string(b))[6], 10, 64)
	if err != nil {
		tb.Fatal(err)
	}
	return n * 512
}

// BenchmarkDeviceWrites is what reaches the device for the reference load, at
// its own pace: the file system adds a commit of its journal for each 5 s.
func BenchmarkDeviceWrites(b *testing.B) {
	dir, device := loopMounted(b, 256<<20)
	w := New(testOpts(filepath.Join(dir, "runs")))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	soon(b, w, w.Put(Note{Kind: "remark", Text: "begin"}))
	ctx, cancel := context.WithTimeout(b.Context(), *deviceTime)
	defer cancel()
	start, commits := written(b, device), w.Stats().Commits
	beat := time.NewTicker(100 * time.Millisecond)
	defer beat.Stop()
	began := time.Now()
	for b.Loop() {
		for ctx.Err() == nil {
			<-beat.C
			l.feed(w)
		}
	}
	hours := time.Since(began).Hours()
	bytes := float64(written(b, device) - start)
	s := w.Stats()
	b.ReportMetric(bytes/1e6/hours, "MB/h")
	b.ReportMetric(bytes/float64(s.Commits-commits), "B/commit")
	b.ReportMetric(0, "ns/op")
	if err := end(); err != nil {
		b.Error(err)
	}
}
