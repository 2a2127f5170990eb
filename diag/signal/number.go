package signal

import (
	"encoding/binary"
	"math/bits"
	"strconv"
)

// pow10 holds the powers of ten that a float64 represents exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

const (
	zeros = 0x3030303030303030
	highs = 0x8080808080808080
	tens  = 0x7676767676767676 // carries a byte above 9 into its high bit
)

// pad is how many bytes past the text scanShort may load.
const pad = 16

// scanShort reads an unsigned-or-signed decimal of at most seven digits that
// starts at b[i] by looking at eight bytes at once. It answers false for
// anything else, which scanNumber then judges. b must reach pad bytes past the
// number. The quotient of two exactly represented numbers is correctly rounded,
// so the result equals strconv.ParseFloat's.
func scanShort(b []byte, i int, decimal byte) (v float64, next int, ok bool) {
	sign := uint64(0)
	if b[i] == '-' {
		sign = 1
		i++
	}
	x := binary.LittleEndian.Uint64(b[i:]) ^ zeros
	other := ((x + tens) | x) & highs
	p := bits.TrailingZeros64(other) >> 3 // digits ahead of the first other byte
	q, frac := p, 0
	next = i + p
	if p < 8 && b[i+p] == decimal {
		low := uint64(1)<<(8*p) - 1
		x = x&low | x>>8&^low | 0x80<<56 // close the hole of the decimal sign
		other = ((x + tens) | x) & highs
		q = bits.TrailingZeros64(other) >> 3
		frac = q - p
		next = i + q + 1
	}
	if q == 0 || q == 8 {
		return 0, i, false
	}
	x <<= 64 - 8*q
	x = x*10 + x>>8
	x = ((x&0x000000FF000000FF)*0x000F424000000064 + (x>>16&0x000000FF000000FF)*0x0000271000000001) >> 32
	v = float64(uint32(x)) / pow10[frac&7]
	if sign != 0 {
		v = -v
	}
	return v, next, true
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

// shape is the exact layout of a short number: how many digits stand ahead of and
// behind the decimal sign and what ends it. Recorders write one shape for hours;
// checking for the shape of the row before is quicker than finding it anew, since
// the place of the next number does not wait for this one to be read.
type shape struct {
	size  int    // bytes of the number, 1 to 8; 0 is no shape
	end   byte   // what follows it
	sep   uint64 // mask of the decimal sign
	dot   uint64 // the decimal sign in its place
	span  uint64 // mask of the high bits of the number's bytes
	other uint64 // high bits of those that are no digits
	low   uint64 // mask of the bytes ahead of the decimal sign
	shift uint   // moves the digits to the high end
	pow   float64
}

// noShape fits no number.
var noShape = shape{other: 1}

// shapeOf describes the number b[i:next] if it is short and unsigned.
func shapeOf(b []byte, i, next int, decimal byte) (s shape) {
	n := next - i
	if n < 1 || n > 8 || b[next] == ' ' {
		return noShape
	}
	point := -1
	for k, c := range b[i:next] {
		if c == decimal && point < 0 {
			point = k
		} else if c-'0' > 9 {
			return noShape
		}
	}
	digits := n
	s = shape{size: n, end: b[next], low: ^uint64(0), pow: 1}
	if point >= 0 {
		digits--
		s.sep = 0xFF << (8 * point)
		s.dot = uint64(decimal) << (8 * point)
		s.other = 0x80 << (8 * point)
		s.low = uint64(1)<<(8*point) - 1
		s.pow = pow10[n-1-point]
	}
	if digits < 1 {
		return noShape
	}
	s.span = highs
	if n < 8 {
		s.span &= uint64(1)<<(8*n) - 1
	}
	s.shift = uint(64 - 8*digits)
	return s
}

// read answers the number at b[i] if it has shape s.
func (s *shape) read(b []byte) (v float64, ok bool) {
	c := binary.LittleEndian.Uint64(b)
	x := c ^ zeros
	if c&s.sep != s.dot || ((x+tens)|x)&s.span != s.other || b[s.size&15] != s.end {
		return 0, false
	}
	x = x&s.low | x>>8&^s.low
	x <<= s.shift & 63
	x = x*10 + x>>8
	x = ((x&0x000000FF000000FF)*0x000F424000000064 + (x>>16&0x000000FF000000FF)*0x0000271000000001) >> 32
	return float64(uint32(x)) / s.pow, true
}
