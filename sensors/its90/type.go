package its90

import (
	"errors"
	"fmt"
	"math"
)

// Type is a thermocouple's letter designation (ASTM E230, IEC 60584-1). The
// zero value is no type: every method refuses it with ErrType.
type Type byte

const (
	B Type = 'B' // platinum 30 % rhodium / platinum 6 % rhodium
	E Type = 'E' // nickel-chromium / copper-nickel
	J Type = 'J' // iron / copper-nickel
	K Type = 'K' // nickel-chromium / nickel-aluminium
	N Type = 'N' // nickel-chromium-silicon / nickel-silicon
	R Type = 'R' // platinum 13 % rhodium / platinum
	S Type = 'S' // platinum 10 % rhodium / platinum
	T Type = 'T' // copper / copper-nickel
)

// ErrType means a letter that designates no thermocouple.
var ErrType = errors.New("no such thermocouple type (allowed: B E J K N R S T)")

// ParseType reads one letter, in either case. Anything else is an error that
// wraps ErrType and lists what is allowed.
func ParseType(s string) (Type, error) {
	if len(s) == 1 {
		t := Type(s[0])
		if 'a' <= t && t <= 'z' {
			t -= 'a' - 'A'
		}
		if t.curve() != nil {
			return t, nil
		}
	}
	return 0, fmt.Errorf("its90: %q: %w", s, ErrType)
}

// String returns the letter.
func (t Type) String() string {
	if t.curve() == nil {
		return fmt.Sprintf("type(%d)", byte(t))
	}
	return string(rune(t))
}

// Range returns the temperatures between which the reference function is
// defined, in degC; NaN for no type.
func (t Type) Range() (loC, hiC float64) {
	c := t.curve()
	if c == nil {
		return math.NaN(), math.NaN()
	}
	return c.span()
}

// curve returns the type's functions, or nil for no type.
func (t Type) curve() *curve {
	if int(t) >= len(curves) {
		return nil
	}
	return curves[t]
}
