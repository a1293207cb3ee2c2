package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"os"
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

// openError is a device file that cannot be opened, with what to do about it.
type openError struct {
	file, group, param string
	err                error
}

func (e *openError) Unwrap() error { return e.err }

// Error asks the file itself why: periph passes the system's error on as text.
func (e *openError) Error() string {
	f, err := os.OpenFile(e.file, os.O_RDWR, 0)
	switch {
	case err == nil:
		f.Close()
	case errors.Is(err, fs.ErrPermission):
		return fmt.Sprintf("%v: add the user to the group %s and log in again", e.err, e.group)
	case errors.Is(err, fs.ErrNotExist) && e.param != "":
		return fmt.Sprintf("%v: switch the bus on with %s in config.txt and start the board anew", e.err, e.param)
	}
	return e.err.Error()
}

var spidev = regexp.MustCompile(`^/dev/spidev(\d+)\.(\d+)$`)

// SPI opens a port such as "/dev/spidev0.0".
func (*machine) SPI(port string) (spi.PortCloser, error) {
	m := spidev.FindStringSubmatch(port)
	if m == nil {
		return nil, fmt.Errorf("%s: not of the form /dev/spidevBUS.SELECT", port)
	}
	bus, _ := strconv.Atoi(m[1])
	cs, _ := strconv.Atoi(m[2])
	p, err := sysfs.NewSPI(bus, cs)
	if err != nil {
		return nil, &openError{port, "spi", "dtparam=spi=on", err}
	}
	return p, nil
}

// I2C opens a bus such as "/dev/i2c-1".
func (*machine) I2C(bus string) (i2c.BusCloser, error) {
	b, err := i2cdev.Open(bus)
	if err != nil {
		return nil, &openError{bus, "i2c", "dtparam=i2c_arm=on", err}
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
		return nil, &openError{"/dev/gpiochip0", "gpio", "", fmt.Errorf("gpio: no pin %s: see the drawing of the board (a header of 40 pins has GPIO2 to GPIO27)", name)}
	}
	return p, nil
}
