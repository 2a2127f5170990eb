package signal

import (
	"encoding/binary"
	"math/bits"
	"strconv"
)

// pow10 holds the powers of ten that a float64 represents exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// pow10int are the powers of ten up to those of a number read quickly.
var pow10int = [16]uint64{1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000,
	1000000000, 10000000000, 100000000000, 1000000000000, 10000000000000, 100000000000000, 1000000000000000}

const (
	zeros = 0x3030303030303030
	highs = 0x8080808080808080
	tens  = 0x7676767676767676 // carries a byte above 9 into its high bit
)

// pad is how many bytes past the text the quick readers may load.
const pad = 40

// countDigits is how many digits the eight bytes c begin with.
func countDigits(c uint64) int {
	x := c ^ zeros
	return bits.TrailingZeros64(((x+tens)|x)&highs) >> 3
}

// digits is the value of the first n bytes of c, which are digits; n is 0 to 8.
func digits(c uint64, n int) uint64 {
	x := (c ^ zeros) << (uint(64-8*n) & 63)
	if n == 0 {
		return 0
	}
	x = x*10 + x>>8
	return ((x&0x000000FF000000FF)*0x000F424000000064 + (x>>16&0x000000FF000000FF)*0x0000271000000001) >> 32 & 0xFFFFFFFF
}

func load(b []byte) uint64 { return binary.LittleEndian.Uint64(b) }

// scanQuick reads an unsigned number, eight bytes at a time, where it has at most
// eight digits ahead of the decimal sign and fifteen in all, with or without an
// exponent of two digits. It answers false, whatever is there, for any other text.
// b must reach pad bytes past i. A quotient or product of two exactly represented
// numbers is correctly rounded, so the result equals strconv.ParseFloat's. whole
// and frac are the digits ahead of and behind the decimal sign, frac -1 where there
// is none; whole is -1 where there is an exponent.
func scanQuick(b []byte, i int, decimal byte) (v float64, next, whole, frac int, ok bool) {
	b = b[i : i+pad]
	c := load(b)
	whole = countDigits(c)
	m := digits(c, whole)
	at, e := whole, 0
	frac = -1
	if b[at] == decimal {
		at++
		c = load(b[at:])
		frac = countDigits(c)
		m = m*pow10int[frac] + digits(c, frac)
		at += frac
		if frac == 8 {
			c = load(b[at:])
			more := countDigits(c)
			if more == 8 {
				return 0, i, 0, 0, false
			}
			m = m*pow10int[more] + digits(c, more)
			frac += more
			at += more
		}
		e = -frac
		if whole+frac == 0 || whole+frac > 15 {
			return 0, i, 0, 0, false
		}
	} else if whole == 0 || whole == 8 && b[8]-'0' <= 9 {
		return 0, i, 0, 0, false
	}
	if b[at]|0x20 == 'e' {
		k, neg := at+1, false
		if b[k] == '-' || b[k] == '+' {
			neg = b[k] == '-'
			k++
		}
		x, n := 0, 0
		for ; b[k]-'0' <= 9 && n < 3; n++ {
			x = x*10 + int(b[k]-'0')
			k++
		}
		if n == 0 || n == 3 {
			return 0, i, 0, 0, false
		}
		if neg {
			x = -x
		}
		if e += x; e < -22 || e > 22 {
			return 0, i, 0, 0, false
		}
		at, whole = k, -1
	}
	v = float64(m)
	if e < 0 {
		v /= pow10[-e]
	} else if e > 0 {
		v *= pow10[e]
	}
	return v, i + at, whole, frac, true
}

// scanNumber reads the decimal number that starts at b[i]: sign, digits with one
// decimal sign, exponent. It stops at the first byte that cannot belong to it
// and answers false when no number starts there or it overflows. Hexadecimal
// digits, underscores, infinities and NaN are not numbers here.
func scanNumber(b []byte, i int, decimal byte) (v float64, next int, ok bool) {
	start := i
	neg := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		neg = b[i] == '-'
		i++
	}
	first := i
	var m uint64
	digits, frac, point := 0, 0, -1
	for ; i < len(b); i++ {
		c := b[i]
		if d := c - '0'; d <= 9 {
			if digits < 19 {
				m = m*10 + uint64(d)
			}
			if m != 0 || digits != 0 {
				digits++ // leading zeros carry nothing
			}
			if point >= 0 {
				frac++
			}
		} else if c == decimal && point < 0 {
			point = i
		} else {
			break
		}
	}
	written := i - first
	if point >= 0 {
		written--
	}
	if written == 0 {
		return 0, start, false
	}
	exp := 0
	if i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		j, eneg := i+1, false
		if j < len(b) && (b[j] == '-' || b[j] == '+') {
			eneg = b[j] == '-'
			j++
		}
		k := j
		for ; k < len(b) && b[k]-'0' <= 9; k++ {
			if exp < 1e6 {
				exp = exp*10 + int(b[k]-'0')
			}
		}
		if k > j {
			i = k
			if eneg {
				exp = -exp
			}
		} else {
			exp = 0
		}
	}
	if e := exp - frac; digits <= 19 && m < 1<<53 && -22 <= e && e <= 22 {
		v = float64(m)
		if e < 0 {
			v /= pow10[-e]
		} else {
			v *= pow10[e]
		}
		if neg {
			v = -v
		}
		return v, i, true
	}
	text := string(b[start:i])
	if decimal != '.' && point >= 0 {
		text = string(b[start:point]) + "." + string(b[point+1:i])
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, i, err == nil
}

// shape is the exact layout of a number without sign and exponent: how many digits
// stand ahead of and behind the decimal sign. Recorders write one shape for hours;
// checking for the shape of the row before is quicker than finding it anew, since
// the place of the next number does not wait for this one to be read.
type shape struct {
	size        int       // bytes; 0 fits nothing
	whole, frac int       // digits; frac is -1 without a decimal sign
	sep, dot    [2]uint64 // mask of the decimal sign, and the sign in its place, by eight bytes
	span, other [2]uint64 // high bits of the number's bytes, and of those that are no digits
	pow         float64
}

// shapes are all the shapes of at most sixteen bytes that scanQuick can find, by
// digits ahead of the decimal sign and digits behind it plus one.
type shapes [9][16]shape

func newShapes(decimal byte) *shapes {
	all := &shapes{}
	for whole := range all {
		for f := range all[whole] {
			s := &all[whole][f]
			s.whole, s.frac = whole, f-1
			size := whole
			if s.frac >= 0 {
				size += 1 + s.frac
			}
			if size < 1 || size > 16 || whole+s.frac == 0 && s.frac >= 0 {
				continue
			}
			s.size = size
			for k := range size {
				bit := uint(8 * (k % 8))
				s.span[k/8] |= 0x80 << bit
				if s.frac >= 0 && k == whole {
					s.sep[k/8] |= 0xFF << bit
					s.dot[k/8] |= uint64(decimal) << bit
					s.other[k/8] |= 0x80 << bit
				}
			}
			s.pow = pow10[max(s.frac, 0)]
		}
	}
	return all
}

// of is the shape found by scanQuick, or one that fits nothing.
func (a *shapes) of(whole, frac int) *shape {
	if whole < 0 || frac > 14 {
		return &a[0][0]
	}
	return &a[whole][frac+1]
}

// read answers the number at the beginning of b, which reaches pad bytes further,
// if it has shape s.
func (s *shape) read(b []byte) (v float64, ok bool) {
	b = b[:pad]
	c := load(b)
	x := c ^ zeros
	if c&s.sep[0] != s.dot[0] || ((x+tens)|x)&s.span[0] != s.other[0] || s.size == 0 {
		return 0, false
	}
	if s.size <= 8 {
		if s.frac < 0 {
			return float64(digits(c, s.whole)), true
		}
		// close the hole of the decimal sign
		low := uint64(1)<<(uint(8*s.whole)&63) - 1
		c = c&low | c>>8&^low
		return float64(digits(c, s.whole+s.frac)) / s.pow, true
	}
	d := load(b[8:])
	y := d ^ zeros
	if d&s.sep[1] != s.dot[1] || ((y+tens)|y)&s.span[1] != s.other[1] {
		return 0, false
	}
	m := digits(c, s.whole)
	at := s.whole + 1
	if s.frac > 8 {
		m = m*100000000 + digits(load(b[at&31:]), 8)
		m = m*pow10int[(s.frac-8)&7] + digits(load(b[(at+8)&31:]), s.frac-8)
	} else {
		m = m*pow10int[s.frac&15] + digits(load(b[at&31:]), s.frac)
	}
	return float64(m) / s.pow, true
}
