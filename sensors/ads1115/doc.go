// Package ads1115 reads the ADS1115, a four-input 16-bit ADC on I2C, one
// single-shot conversion at a time (Texas Instruments ADS111x datasheet
// SBAS444).
//
// The chip's clock may be 10 % slow. A reader that only sleeps 1/DR can
// therefore fetch the result of the conversion before, which may belong to
// another input. This one starts only an idle chip, waits until the chip says
// that it is done, and hands out no number unless the settings read back as
// they were asked.
//
// # Wire format
//
// A write is three bytes: register pointer, high byte, low byte. A read writes
// the pointer and, after a repeated start, reads two bytes, high byte first.
//
//	pointer  register
//	00       conversion, two's complement, 8000..7FFF
//	01       config, after power-up 8583
//
//	config, high byte (SBAS444, Config Register Field Descriptions)
//	bit 15     OS    write 1: start; ignored while a conversion runs
//	                 read 1: idle, 0: a conversion runs
//	bit 14-12  MUX   000 AIN0-AIN1  001 AIN0-AIN3  010 AIN1-AIN3  011 AIN2-AIN3
//	                 100 AIN0  101 AIN1  110 AIN2  111 AIN3, each against GND
//	bit 11-9   PGA   000 6.144  001 4.096  010 2.048  011 1.024  100 0.512
//	                 101..111 0.256 V
//	bit 8      MODE  1 single-shot, 0 continuous
//
//	config, low byte
//	bit 7-5    DR    000 8  001 16  010 32  011 64  100 128  101 250  110 475
//	                 111 860 SPS
//	bit 4, 3   COMP_MODE, COMP_POL, written 0
//	bit 2      COMP_LAT, written 1: without a comparator it does nothing, but
//	           it is 0 after power-up, so that a chip that has restarted never
//	           reads back like one that does what we asked
//	bit 1-0    COMP_QUE, written 11: comparator off
//
// Example, worked out from the tables: AIN0, 4.096 V, 128 SPS, chip at 48.
//
//	48 write 01       read 85 83   idle, as after power-up
//	48 write 01 C3 87              start
//	   7.8125 ms
//	48 write 01       read 43 87   still at work
//	   0.78 ms
//	48 write 01       read C3 87   done, and the settings are ours
//	48 write 00       read 34 53   13395 x 125 uV = 1.674 V
//	48 write 00       read 34 53   the same again: no bit was flipped
//
// # What it cannot see
//
// I2C carries no checksum. A start bit lost on the way to the chip goes
// through: the settings then read back right over an old result. Judging values
// is the caller's part.
package ads1115
