// Package i2cdev is the kernel's I2C character device behind periph's i2c.Bus.
//
// It stands in for periph's own (host v3.8.5, sysfs.I2C), which keeps its
// messages on the caller's stack as bare integers: when the stack moves between
// taking their address and the system call, the kernel reads or writes wrong
// memory. Here every message lives on the heap. It also keeps the system's
// error (errors.Is works) and shortens the adapter's time-out.
//
// One transfer is one ioctl, a write followed by a read with repeated start
// (Linux Documentation/i2c/dev-interface, I2C_RDWR):
//
//	struct i2c_msg { u16 addr; u16 flags; u16 len; u8 *buf; }
//	struct i2c_rdwr_ioctl_data { struct i2c_msg *msgs; u32 nmsgs; }
package i2cdev

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"sync"
	"syscall"
	"time"
	"unsafe"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Linux include/uapi/linux/i2c-dev.h and i2c.h.
const (
	ioctlTimeout = 0x0702 // unit 10 ms
	ioctlRdwr    = 0x0707
	flagRead     = 0x0001
)

// Timeout is how long the kernel waits for a held bus before it gives up. Its
// own default of 1 s would cost a whole second for every chip on a dead bus.
// No chip here stretches the clock beyond 35 ms.
const Timeout = 200 * time.Millisecond

type message struct {
	addr, flags, len uint16
	buf              unsafe.Pointer
}

type request struct {
	msgs  unsafe.Pointer
	nmsgs uint32
}

// transfer is what the kernel is shown; one allocation that never moves.
type transfer struct {
	req  request
	msgs [2]message
	w, r [64]byte
}

// Bus is one adapter. Its methods may be called from any goroutine, but a call
// waits for the one before it; charwarden gives each bus one owner.
type Bus struct {
	mu    sync.Mutex
	name  string
	f     *os.File
	t     *transfer
	ioctl func(fd uintptr, op uintptr, arg unsafe.Pointer) error
}

var _ i2c.BusCloser = (*Bus)(nil)

// Open opens a bus by its device file, such as "/dev/i2c-1".
func Open(path string) (*Bus, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("i2c: %w", err)
	}
	b := &Bus{name: path, f: f, t: new(transfer), ioctl: ioctl}
	// An adapter that refuses keeps its own time-out: slower to give up, not wrong.
	_, _, _ = syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), ioctlTimeout, uintptr(Timeout/(10*time.Millisecond)))
	return b, nil
}

func ioctl(fd, op uintptr, arg unsafe.Pointer) error {
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, fd, op, uintptr(arg)); errno != 0 {
		return errno
	}
	return nil
}

// String returns the device file.
func (b *Bus) String() string { return b.name }

// Tx writes w to the chip at the 7-bit address addr, then reads len(r) bytes;
// either may be empty, but not both; each is at most 64 bytes. On an error r
// keeps what it held. The error wraps the system's: EREMOTEIO for a chip that
// does not answer, ETIMEDOUT for a held bus.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.f == nil:
		return fmt.Errorf("i2c: %s: %w", b.name, os.ErrClosed)
	case addr > 0x7f:
		return fmt.Errorf("i2c: %s: address %#x is not a 7-bit address", b.name, addr)
	case len(w) == 0 && len(r) == 0:
		return errors.New("i2c: transfer without bytes")
	case len(w) > len(b.t.w) || len(r) > len(b.t.r):
		return fmt.Errorf("i2c: %s: transfer of %d+%d bytes, at most %d", b.name, len(w), len(r), len(b.t.w))
	}
	t, n := b.t, 0
	if len(w) > 0 {
		copy(t.w[:], w)
		t.msgs[n] = message{addr: addr, len: uint16(len(w)), buf: unsafe.Pointer(&t.w)}
		n++
	}
	if len(r) > 0 {
		t.msgs[n] = message{addr: addr, flags: flagRead, len: uint16(len(r)), buf: unsafe.Pointer(&t.r)}
		n++
	}
	t.req = request{msgs: unsafe.Pointer(&t.msgs), nmsgs: uint32(n)}
	err := b.ioctl(b.f.Fd(), ioctlRdwr, unsafe.Pointer(&t.req))
	runtime.KeepAlive(b)
	if err != nil {
		return fmt.Errorf("i2c: %s: chip %#02x: %w", b.name, addr, err)
	}
	copy(r, t.r[:])
	return nil
}

// SetSpeed is refused: on these boards the speed is set at boot
// (dtparam=i2c_arm_baudrate in config.txt).
func (b *Bus) SetSpeed(physic.Frequency) error {
	return fmt.Errorf("i2c: %s: the speed is set at boot, by dtparam=i2c_arm_baudrate in config.txt", b.name)
}

// Close closes the device file; later transfers fail with os.ErrClosed.
func (b *Bus) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.f == nil {
		return nil
	}
	err := b.f.Close()
	b.f = nil
	return err
}
