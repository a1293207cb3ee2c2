package i2cdev

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"unsafe"
)

// kernel reads the request as the kernel would, from raw memory, and plays a
// chip at 0x48 that answers the inverse of what was written.
func kernel(t *testing.T, calls *int) func(fd, op uintptr, arg unsafe.Pointer) error {
	return func(fd, op uintptr, arg unsafe.Pointer) error {
		*calls++
		if op != 0x0707 {
			t.Errorf("ioctl %#x, want I2C_RDWR 0x0707", op)
		}
		req := (*request)(arg)
		var wrote []byte
		for _, m := range unsafe.Slice((*message)(req.msgs), req.nmsgs) {
			if m.addr != 0x48 {
				return syscall.EREMOTEIO
			}
			buf := unsafe.Slice((*byte)(m.buf), m.len)
			if m.flags&flagRead == 0 {
				wrote = append(wrote, buf...)
				continue
			}
			for i := range buf {
				buf[i] = ^wrote[i%len(wrote)]
			}
		}
		return nil
	}
}

func newBus(t *testing.T, calls *int) *Bus {
	t.Helper()
	path := filepath.Join(t.TempDir(), "i2c-9")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	b.ioctl = kernel(t, calls)
	return b
}

// The sizes of include/uapi/linux/i2c.h on 32 and 64 bit machines.
func TestLayout(t *testing.T) {
	word := unsafe.Sizeof(uintptr(0))
	if got, want := unsafe.Sizeof(message{}), 8+word; got != want {
		t.Errorf("i2c_msg has %d bytes, want %d", got, want)
	}
	if got, want := unsafe.Offsetof(message{}.buf), uintptr(8); got != want {
		t.Errorf("i2c_msg.buf at %d, want %d", got, want)
	}
	if got, want := unsafe.Offsetof(request{}.nmsgs), word; got != want {
		t.Errorf("i2c_rdwr_ioctl_data.nmsgs at %d, want %d", got, want)
	}
}

func TestTx(t *testing.T) {
	var calls int
	b := newBus(t, &calls)
	r := make([]byte, 3)
	if err := b.Tx(0x48, []byte{0x01, 0xf0}, r); err != nil {
		t.Fatal(err)
	}
	if want := []byte{0xfe, 0x0f, 0xfe}; !bytes.Equal(r, want) {
		t.Errorf("read % x, want % x", r, want)
	}
	if err := b.Tx(0x48, []byte{0x01}, nil); err != nil {
		t.Error("write only:", err)
	}
	if calls != 2 {
		t.Errorf("%d ioctls for 2 transfers", calls)
	}
}

func TestTxErrors(t *testing.T) {
	var calls int
	b := newBus(t, &calls)
	keep := []byte{7, 7}
	if err := b.Tx(0x25, []byte{1}, keep); !errors.Is(err, syscall.EREMOTEIO) {
		t.Errorf("absent chip: %v, want EREMOTEIO inside", err)
	}
	if !bytes.Equal(keep, []byte{7, 7}) {
		t.Errorf("a failed read changed the buffer to % x", keep)
	}
	calls = 0
	for name, err := range map[string]error{
		"no bytes": b.Tx(0x48, nil, nil), "10-bit address": b.Tx(0x80, []byte{1}, nil),
		"too long": b.Tx(0x48, make([]byte, 65), nil), "too long read": b.Tx(0x48, []byte{1}, make([]byte, 65)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if calls != 0 {
		t.Errorf("%d refused transfers reached the bus", calls)
	}
	if b.SetSpeed(1) == nil {
		t.Error("SetSpeed: no error")
	}
	b.Close()
	if err := b.Tx(0x48, []byte{1}, nil); !errors.Is(err, os.ErrClosed) {
		t.Errorf("after Close: %v, want os.ErrClosed", err)
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no such bus: %v", err)
	}
}

// What the type is for: transfers stay whole while stacks move and the
// collector runs, with several goroutines on one bus.
func TestTxWhileStacksMove(t *testing.T) {
	var calls int
	b := newBus(t, &calls)
	done := make(chan error, 8)
	for g := range 8 {
		go func() {
			for i := range 500 {
				w, r := []byte{byte(g), byte(i)}, make([]byte, 2)
				grow(i % 40)
				if err := b.Tx(0x48, w, r); err != nil {
					done <- err
					return
				}
				if r[0] != ^w[0] || r[1] != ^w[1] {
					done <- errors.New("wrong bytes came back")
					return
				}
				if i%100 == 0 {
					runtime.GC()
				}
			}
			done <- nil
		}()
	}
	for range 8 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func grow(n int) byte {
	var pad [256]byte
	if n > 0 {
		pad[n] = grow(n - 1)
	}
	return pad[n]
}
