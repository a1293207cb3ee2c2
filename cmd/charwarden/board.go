package main

import (
	"fmt"
	"io"
	"log"
	"regexp"
	"strconv"
	"sync"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3"
	"periph.io/x/host/v3/sysfs"

	"charwarden/sensors/i2cdev"
)

// machine is the sensors.Board of the board that we run on.
type machine struct{ pins func() error }

func newMachine() *machine {
	return &machine{pins: sync.OnceValue(func() error {
		// Only pins need periph's drivers to be loaded; that takes up to 0.3 s.
		// The library reports absent hardware through package log: not our words.
		w := log.Writer()
		log.SetOutput(io.Discard)
		defer log.SetOutput(w)
		_, err := host.Init()
		return err
	})}
}

var spidev = regexp.MustCompile(`^/dev/spidev(\d+)\.(\d+)$`)

// SPI opens a port such as "/dev/spidev0.0". periph wraps the system's errors
// as text only, so the advice goes by the device file.
func (*machine) SPI(port string) (spi.PortCloser, error) {
	m := spidev.FindStringSubmatch(port)
	if m == nil {
		return nil, fmt.Errorf("%s: not of the form /dev/spidevBUS.SELECT", port)
	}
	bus, _ := strconv.Atoi(m[1])
	cs, _ := strconv.Atoi(m[2])
	p, err := sysfs.NewSPI(bus, cs)
	if err != nil {
		return nil, fmt.Errorf("%w (switch SPI on with dtparam=spi=on; the user must be in group spi)", err)
	}
	return p, nil
}

// I2C opens a bus such as "/dev/i2c-1".
func (*machine) I2C(bus string) (i2c.BusCloser, error) {
	b, err := i2cdev.Open(bus)
	if err != nil {
		return nil, fmt.Errorf("%w (switch I2C on with dtparam=i2c_arm=on; the user must be in group i2c)", err)
	}
	return b, nil
}

// Pin finds a pin such as "GPIO17".
func (m *machine) Pin(name string) (gpio.PinIO, error) {
	if err := m.pins(); err != nil {
		return nil, fmt.Errorf("gpio: %w", err)
	}
	p := gpioreg.ByName(name)
	if p == nil {
		return nil, fmt.Errorf("gpio: no pin %s (the user must be in group gpio)", name)
	}
	return p, nil
}
