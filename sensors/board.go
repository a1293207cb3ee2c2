package sensors

import (
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"
)

// Board opens the rig's buses and pins: the machine's own in `run`, simulated
// ones in `demo` and in tests. Whoever opens a port closes it.
type Board interface {
	SPI(port string) (spi.PortCloser, error) // "/dev/spidev0.0"
	I2C(bus string) (i2c.BusCloser, error)   // "/dev/i2c-1"
	Pin(name string) (gpio.PinIO, error)     // "GPIO17"
}
