package sim

import (
	"errors"
	"io/fs"
	"math/bits"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/sensors/its90"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// rigBoard has a chip on each kind of bus.
func rigBoard(t *testing.T, b *Board) (i2c.BusCloser, spi.Conn) {
	t.Helper()
	b.AddMAX31855(port0, "", &MAX31855{Type: its90.K, Hot: steady(25), Cold: steady(25)})
	b.AddI2C(bus1, 0x40, &INA219{Bus: steady(12)})
	bus, err := b.I2C(bus1)
	if err != nil {
		t.Fatal(err)
	}
	return bus, connect(t, b, port0, spi.Mode0)
}

func config(bus i2c.Bus, r []byte) error { return bus.Tx(0x40, []byte{0}, r) }

func TestNoSuchBus(t *testing.T) {
	b := NewBoard(newHand(), 1)
	_, errSPI := b.SPI("/dev/spidev0.0")
	_, errI2C := b.I2C("/dev/i2c-1")
	for _, err := range []error{errSPI, errI2C} {
		if !errors.Is(err, fs.ErrNotExist) || !errors.Is(err, syscall.ENOENT) {
			t.Errorf("%v: not ENOENT", err)
		}
	}
	if _, err := b.Pin(""); err == nil {
		t.Error("a pin without a name")
	}
	defer func() {
		if recover() == nil {
			t.Error("a fault on a bus that is not there passed in silence")
		}
	}()
	b.Hang("/dev/i2c-1", time.Second)
}

// A hang as the kernel shows it: short ones are answered late, long ones end
// with ETIMEDOUT after the adapter's 1 s (drivers/i2c: adap->timeout = HZ).
func TestHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard(system{}, 1)
		bus, conn := rigBoard(t, b)
		r := make([]byte, 2)
		for _, c := range []struct {
			hang, want time.Duration
			timedOut   bool
		}{{0, 0, false}, {300 * time.Millisecond, 300 * time.Millisecond, false}, {time.Second, time.Second, true}, {3 * time.Second, time.Second, true}} {
			b.Hang(bus1, c.hang)
			began := time.Now()
			err := config(bus, r)
			if took := time.Since(began); took != c.want || errors.Is(err, syscall.ETIMEDOUT) != c.timedOut || (err != nil) != c.timedOut {
				t.Errorf("hang %s: %v after %s", c.hang, err, took)
			}
			began = time.Now()
			if frameOf(t, conn) != 0x01901900 || time.Since(began) != 0 {
				t.Error("the other bus hangs too")
			}
		}
		b.Heal(bus1)
		began := time.Now()
		if err := config(bus, r); err != nil || time.Since(began) != 0 {
			t.Errorf("healed: %v after %s", err, time.Since(began))
		}
	})
}

func TestHangForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard(system{}, 1)
		_, conn := rigBoard(t, b)
		b.Hang(port0, -1)
		ended := make(chan error)
		go func() { ended <- conn.Tx(nil, make([]byte, 4)) }()
		time.Sleep(time.Hour)
		select {
		case err := <-ended:
			t.Fatalf("ended with %v", err)
		default:
		}
		b.Heal(port0)
		if err := <-ended; !errors.Is(err, syscall.ETIMEDOUT) {
			t.Errorf("released: %v, want ETIMEDOUT", err)
		}
		if frameOf(t, conn) != 0x01901900 {
			t.Error("no answer after Heal")
		}
	})
}

// A bus that is let go before the kernel's limit answers.
func TestHealDuringHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := NewBoard(system{}, 1)
		bus, _ := rigBoard(t, b)
		b.Hang(bus1, 5*time.Second)
		go func() {
			time.Sleep(400 * time.Millisecond)
			b.Heal(bus1)
		}()
		began := time.Now()
		if err := config(bus, make([]byte, 2)); err != nil || time.Since(began) != 400*time.Millisecond {
			t.Errorf("%v after %s", err, time.Since(began))
		}
	})
}

func TestRefusals(t *testing.T) {
	b := NewBoard(newHand(), 1)
	bus, conn := rigBoard(t, b)
	r := make([]byte, 2)
	if err := bus.Tx(0x41, []byte{0}, r); !errors.Is(err, syscall.EREMOTEIO) {
		t.Errorf("nobody there: %v", err)
	}
	if err := bus.Tx(0x41, nil, nil); err != nil {
		t.Errorf("nothing to do: %v", err)
	}
	if err := bus.Tx(0x80, []byte{0}, r); err == nil {
		t.Error("an address of 8 bits")
	}
	b.NACK(bus1, 0x40, 2)
	for i, want := range []bool{true, true, false} {
		if err := config(bus, r); errors.Is(err, syscall.EREMOTEIO) != want {
			t.Errorf("NACK %d: %v", i, err)
		}
	}
	b.NACK(bus1, 0x40, -1)
	for range 5 {
		if err := config(bus, r); !errors.Is(err, syscall.EREMOTEIO) {
			t.Errorf("NACK for ever: %v", err)
		}
	}
	b.Heal(bus1)
	b.Fail(bus1, syscall.EIO, 1)
	if err := config(bus, r); !errors.Is(err, syscall.EIO) {
		t.Errorf("EIO: %v", err)
	}
	if err := config(bus, r); err != nil {
		t.Errorf("after the one EIO: %v", err)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if err := config(bus, r); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("closed: %v", err)
	}
	for _, tx := range [][2][]byte{{nil, nil}, {make([]byte, 2), make([]byte, 3)}, {make([]byte, 4097), nil}} {
		if err := conn.Tx(tx[0], tx[1]); err == nil {
			t.Errorf("SPI took %d and %d bytes", len(tx[0]), len(tx[1]))
		}
	}
}

func TestConnectOnce(t *testing.T) {
	b := NewBoard(newHand(), 1)
	rigBoard(t, b)
	p, err := b.SPI(port0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Connect(0, spi.Mode0, 8); err == nil {
		t.Error("0 Hz taken, as sysfs does not")
	}
	if _, err := p.Connect(physic.MegaHertz, spi.Mode0, 8); err != nil {
		t.Error(err)
	}
	if _, err := p.Connect(physic.MegaHertz, spi.Mode0, 8); err == nil {
		t.Error("connected twice")
	}
}

// One flipped bit an answer, in about the asked share of the answers.
func TestFlip(t *testing.T) {
	b := NewBoard(newHand(), 1)
	_, conn := rigBoard(t, b)
	b.Flip(port0, 0.05)
	wrong := 0
	for range 4000 {
		switch n := bits.OnesCount32(frameOf(t, conn) ^ 0x01901900); n {
		case 0:
		case 1:
			wrong++
		default:
			t.Fatalf("%d bits flipped", n)
		}
	}
	if wrong < 145 || wrong > 255 { // 200 and four standard deviations
		t.Errorf("%d of 4000 answers flipped, want about 200", wrong)
	}
}

// Faults come and go while others use the board: for the race detector.
func TestConcurrentUse(t *testing.T) {
	b := NewBoard(newHand(), 1)
	bus, conn := rigBoard(t, b)
	var all sync.WaitGroup
	for _, f := range []func(){
		func() { _ = config(bus, make([]byte, 2)) },
		func() { _ = conn.Tx(nil, make([]byte, 4)) },
		func() { b.Hang(bus1, time.Millisecond); b.Heal(bus1) },
		func() { b.NACK(bus1, 0x40, 1); b.Flip(port0, 0.5); b.Fail(port0, syscall.EIO, 1) },
		func() { b.AddI2C(bus1, 0x48, &ADS1115{}); _, _ = b.Output("GPIO6") },
		func() { b.AddPulses("GPIO6", steady(50)) },
	} {
		all.Go(func() {
			for range 200 {
				f()
			}
		})
	}
	all.Wait()
}
