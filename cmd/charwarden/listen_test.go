package main

import (
	"bufio"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"charwarden/config"
)

// alone starts charwarden in a network of its own, where it has the board's lock
// and every port to itself, and nothing else can be listening.
func alone(t *testing.T, args ...string) (cmd *exec.Cmd, log *safeLog) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	log = &safeLog{}
	cmd = &exec.Cmd{Path: exe, Args: append([]string{"charwarden"}, args...), Stderr: log}
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // and never let go: the thread ends with this
		if err := unix.Unshare(unix.CLONE_NEWNET); err != nil {
			started <- fmt.Errorf("a network of its own: %w", err)
			return
		}
		if err := loopbackUp(); err != nil {
			started <- err
			return
		}
		started <- cmd.Start()
	}()
	if err := <-started; err != nil {
		lacks(t, "be root: %v", err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd, log
}

func loopbackUp() error {
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM, 0)
	if err != nil {
		return err
	}
	defer unix.Close(s)
	r, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	r.SetUint16(unix.IFF_UP)
	return unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, r)
}

// listening are the sockets of a process that is alone in its network: "tcp 127.0.0.1:9455",
// "unix /run/x".
func listening(t *testing.T, pid int) (all []string) {
	t.Helper()
	for _, proto := range []string{"tcp", "tcp6", "udp", "udp6", "unix"} {
		f, err := os.Open(fmt.Sprintf("/proc/%d/net/%s", pid, proto))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		lines := bufio.NewScanner(f)
		for lines.Scan(); lines.Scan(); { // the first is the heading
			w := strings.Fields(lines.Text())
			switch {
			case proto == "unix" && w[3] == "00010000" && len(w) > 7: // it listens
				all = append(all, "unix "+w[7])
			case strings.HasPrefix(proto, "udp"), strings.HasPrefix(proto, "tcp") && w[3] == "0A":
				all = append(all, proto+" "+addrOf(t, w[1]))
			}
		}
	}
	return all
}

// addrOf reads an address as /proc has it: each word of 4 bytes in the order of
// the machine, here with the least first.
func addrOf(t *testing.T, s string) string {
	t.Helper()
	hexIP, hexPort, _ := strings.Cut(s, ":")
	port, err := strconv.ParseUint(hexPort, 16, 16)
	if err != nil {
		t.Fatal(err)
	}
	ip := make(net.IP, len(hexIP)/2)
	for i := range ip {
		b, err := strconv.ParseUint(hexIP[2*i:2*i+2], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		ip[i/4*4+3-i%4] = byte(b)
	}
	return net.JoinHostPort(ip.String(), strconv.Itoa(int(port)))
}

// ownFile is the reference file with its directories below dir, and changed as
// the pairs say.
func ownFile(t *testing.T, dir string, pairs ...string) (file string) {
	t.Helper()
	pairs = append(pairs, `"/var/lib/charwarden"`, `"`+dir+`/state"`, `"/var/lib/charwarden/runs"`, `"`+dir+`/state/runs"`,
		`"/run/charwarden/charwarden.sock"`, `"`+dir+`/run/charwarden.sock"`)
	text := strings.NewReplacer(pairs...).Replace(string(config.Reference()))
	file = filepath.Join(dir, "rig.toml")
	if err := os.WriteFile(file, []byte(text), 0o640); err != nil {
		t.Fatal(err)
	}
	return file
}

// With the reference file the daemon is reached from its own machine only; told
// otherwise it warns at every start; and what it writes is not for everybody.
func TestListensOnLoopbackOnly(t *testing.T) {
	for _, c := range []struct {
		name, listen string
		want         []string
		warns        string
	}{
		{"as it comes", `"127.0.0.1:9455"`, []string{"tcp 127.0.0.1:9455"}, ""},
		{"no page", `""`, nil, ""},
		{"to the network", `":9455"`, []string{"tcp6 [::]:9455"}, "anyone on the network can read this"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			old := syscall.Umask(0o022) // as most systems have it
			defer syscall.Umask(old)
			daemon, log := alone(t, "run", "-c", ownFile(t, dir, `"127.0.0.1:9455"`, c.listen))
			want := append(c.want, "unix @charwarden/board", "unix "+dir+"/run/charwarden.sock")
			var got []string
			for end := time.Now().Add(20 * time.Second); time.Now().Before(end) && len(got) < len(want); time.Sleep(50 * time.Millisecond) {
				got = listening(t, daemon.Process.Pid)
			}
			time.Sleep(2 * time.Second) // whatever comes late
			got = listening(t, daemon.Process.Pid)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("listens on %q, want %q", got, want)
			}
			if c.warns == "" && strings.Contains(log.String(), "network can") || !strings.Contains(log.String(), c.warns) {
				t.Errorf("warns %q, want %q", log, c.warns)
			}
			daemon.Process.Signal(syscall.SIGTERM)
			daemon.Wait()
			files := 0
			if err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
				if err != nil || path == dir {
					return err
				}
				files++
				if info, err := d.Info(); err != nil || info.Mode().Perm()&0o007 != 0 {
					t.Errorf("%s is for everybody: %v (%v)", path, info.Mode(), err)
				}
				return nil
			}); err != nil || files < 6 {
				t.Errorf("%d files, %v; want those of the state and of a run", files, err)
			}
			if t.Failed() {
				t.Logf("daemon:\n%s", log)
			}
		})
	}
}
