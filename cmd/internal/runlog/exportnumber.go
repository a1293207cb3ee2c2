package runlog

import (
	"math"
	"strconv"
	"time"
)

// decimals writes counts of one step as exact decimals. A step of 1/2^k has at
// most k decimals, so that there are few different ends of numbers.
type decimals struct {
	step  float64
	shift int      // step is 1/2^shift; -1: another step
	ends  []string // by the count's last shift bits: "", ".5", ".25", ...
}

func newDecimals(step float64) decimals {
	d := decimals{step: step, shift: -1}
	frac, exp := math.Frexp(step)
	if k := 1 - exp; frac == 0.5 && k >= 0 && k <= 10 {
		d.shift = k
		for i := range 1 << k {
			d.ends = append(d.ends, strconv.FormatFloat(float64(i)*step, 'f', -1, 64)[1:])
		}
	}
	return d
}

// append appends the value of a count.
func (d *decimals) append(b []byte, count int64) []byte {
	if d.shift < 0 || count == math.MinInt64 {
		return strconv.AppendFloat(b, float64(count)*d.step, 'f', -1, 64)
	}
	if count < 0 {
		b = append(b, '-')
		count = -count
	}
	b = appendCount(b, uint64(count)>>d.shift)
	return append(b, d.ends[count&(1<<d.shift-1)]...)
}

const twoDigits = "00010203040506070809101112131415161718192021222324252627282930313233343536373839404142434445464748495051525354555657585960616263646566676869707172737475767778798081828384858687888990919293949596979899"

// appendCount is strconv.AppendUint, quicker for numbers below 10,000, which
// nearly all are.
func appendCount(b []byte, n uint64) []byte {
	switch {
	case n < 10:
		return append(b, byte('0'+n))
	case n < 100:
		return append(b, twoDigits[2*n:2*n+2]...)
	case n < 1000:
		return append(append(b, byte('0'+n/100)), twoDigits[n%100*2:n%100*2+2]...)
	case n < 10000:
		return append(append(b, twoDigits[n/100*2:n/100*2+2]...), twoDigits[n%100*2:n%100*2+2]...)
	}
	return strconv.AppendUint(b, n, 10)
}

// appendThousandths appends n/1000 with three decimals.
func appendThousandths(b []byte, n int64) []byte {
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	b = strconv.AppendInt(b, n/1000, 10)
	n %= 1000
	return append(b, '.', byte('0'+n/100), byte('0'+n/10%10), byte('0'+n%10))
}

// stamps writes times as RFC 3339 in UTC with milliseconds.
type stamps struct {
	second int64
	text   [20]byte // of the second, to the "."
}

func newStamps() *stamps { return &stamps{second: math.MinInt64} }

// append appends the time; at is Unix time in ms.
func (s *stamps) append(b []byte, at int64) []byte {
	second := at / 1000
	if at%1000 < 0 {
		second--
	}
	if second != s.second {
		text := time.Unix(second, 0).UTC().AppendFormat(s.text[:0], "2006-01-02T15:04:05.")
		if len(text) != len(s.text) { // a year of more than four digits
			return time.UnixMilli(at).UTC().AppendFormat(b, "2006-01-02T15:04:05.000Z")
		}
		s.second = second
	}
	b = append(b, s.text[:]...)
	n := at - second*1000
	return append(b, byte('0'+n/100), byte('0'+n/10%10), byte('0'+n%10), 'Z')
}
