package sim

// calibration is what a BMx280 keeps about itself.
type calibration struct {
	t1, t2, t3                         float64
	p1, p2, p3, p4, p5, p6, p7, p8, p9 float64
	h1, h2, h3, h4, h5, h6             float64
}

// bosch holds the values of the worked example in the BMP280 datasheet
// (BST-BMP280-DS001, section 3.12). The BME280 datasheet has none for humidity:
// those are typical of real parts, from memory.
var bosch = calibration{
	27504, 26435, -1000,
	36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000,
	75, 370, 0, 313, 50, 30,
}

// temperature returns degC and the fine temperature of the other two: BMP280
// datasheet, section 8.1, double precision.
func (c *calibration) temperature(raw float64) (degC, fine float64) {
	a := (raw/16384 - c.t1/1024) * c.t2
	d := raw/131072 - c.t1/8192
	fine = a + d*d*c.t3
	return fine / 5120, fine
}

// pressure returns Pa: section 8.1.
func (c *calibration) pressure(raw, fine float64) float64 {
	a := fine/2 - 64000
	b := a*a*c.p6/32768 + a*c.p5*2
	b = b/4 + c.p4*65536
	a = (c.p3*a*a/524288 + c.p2*a) / 524288
	a = (1 + a/32768) * c.p1
	if a == 0 {
		return 0
	}
	p := (1048576 - raw - b/4096) * 6250 / a
	return p + (c.p9*p*p/2147483648+p*c.p8/32768+c.p7)/16
}

// humidity returns %RH: BME280 datasheet (BST-BME280-DS002), section 8.1.
func (c *calibration) humidity(raw, fine float64) float64 {
	h := fine - 76800
	h = (raw - (c.h4*64 + c.h5/16384*h)) * (c.h2 / 65536 * (1 + c.h6/67108864*h*(1+c.h3/67108864*h)))
	h *= 1 - c.h1*h/524288
	return max(0, min(100, h))
}

// put writes the calibration where drivers look for it: 88..9F and A1, for a
// BME280 also E1..E7 (BME280 datasheet, table 16). Words are little-endian;
// H4 and H5 share E5.
func (c *calibration) put(reg *[256]byte, humid bool) {
	words := [12]float64{c.t1, c.t2, c.t3, c.p1, c.p2, c.p3, c.p4, c.p5, c.p6, c.p7, c.p8, c.p9}
	for i, v := range words {
		n := int(v)
		reg[0x88+2*i], reg[0x89+2*i] = byte(n), byte(n>>8)
	}
	if !humid {
		return
	}
	h2, h4, h5 := int(c.h2), int(c.h4), int(c.h5)
	reg[0xa1] = byte(int(c.h1))
	reg[0xe1], reg[0xe2] = byte(h2), byte(h2>>8)
	reg[0xe3] = byte(int(c.h3))
	reg[0xe4] = byte(h4 >> 4)
	reg[0xe5] = byte(h4&15 | h5<<4)
	reg[0xe6] = byte(h5 >> 4)
	reg[0xe7] = byte(int(c.h6))
}
