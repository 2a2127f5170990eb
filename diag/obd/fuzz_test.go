package obd

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
)

func TestChecksum(t *testing.T) {
	// CRC-8/SAE-J1850 of "123456789" is 4B (catalogue of parametrised CRC
	// algorithms, from memory).
	if !checksum(append([]byte("123456789"), 0x4B)) {
		t.Error("the CRC of SAE J1850 does not match its check value")
	}
	if !checksum([]byte{0x48, 0x6B, 0x10, 0xC3}) || checksum([]byte{0x48, 0x6B, 0x10, 0xC4}) {
		t.Error("the sum does not match")
	}
}

func hexText(b []byte, blank string) string {
	var s strings.Builder
	for i, v := range b {
		if i > 0 {
			s.WriteString(blank)
		}
		fmt.Fprintf(&s, "%02X", v)
	}
	return s.String()
}

// segment cuts an answer into CAN frames as ISO 15765-2 says, padded to 8 bytes.
func segment(payload []byte, filler byte) [][]byte {
	pad := func(b []byte) []byte {
		for len(b) < 8 {
			b = append(b, filler)
		}
		return b
	}
	if len(payload) <= 7 {
		return [][]byte{pad(append([]byte{byte(len(payload))}, payload...))}
	}
	frames := [][]byte{append([]byte{0x10 | byte(len(payload)>>8), byte(len(payload))}, payload[:6]...)}
	for seq, rest := 1, payload[6:]; len(rest) > 0; seq++ {
		n := min(7, len(rest))
		frames = append(frames, pad(append([]byte{0x20 | byte(seq&0xF)}, rest[:n]...)))
		rest = rest[n:]
	}
	return frames
}

func crc8(b []byte) byte {
	crc := byte(0xFF)
	for _, v := range b {
		crc ^= v
		for range 8 {
			carry := crc >> 7
			crc = crc<<1 ^ carry*0x1D
		}
	}
	return ^crc
}

func sum8(b []byte) (s byte) {
	for _, v := range b {
		s += v
	}
	return s
}

const framings = 12

// encode writes an answer in one of the framings. The module is "" where the
// framing shows none; ok is false where the framing cannot carry the answer.
func encode(payload []byte, framing int, number byte) (lines []string, module Module, ok bool) {
	each := func(format func(b []byte) string) {
		for _, f := range segment(payload, []byte{0, 0x55, 0xAA}[number%3]) {
			lines = append(lines, format(f))
		}
	}
	id := 0x7E8 + uint32(number%8)
	wide := 0x18DAF100 | uint32(number)
	short, long := Module(fmt.Sprintf("%03X", id)), Module(fmt.Sprintf("%08X", wide))
	switch framing {
	case 0:
		each(func(b []byte) string { return string(short) + " " + hexText(b, " ") })
		return lines, short, true
	case 1:
		each(func(b []byte) string { return string(short) + hexText(b, "") })
		return lines, short, true
	case 2:
		each(func(b []byte) string { return fmt.Sprintf("18 DA F1 %02X ", number) + hexText(b, " ") })
		return lines, long, true
	case 3:
		each(func(b []byte) string { return string(long) + hexText(b, "") })
		return lines, long, true
	case 4:
		each(func(b []byte) string { return fmt.Sprintf("can0 %s#%s", short, hexText(b, "")) })
		return lines, short, true
	case 5:
		each(func(b []byte) string { return fmt.Sprintf("  can0  %s   [%d]  %s", long, len(b), hexText(b, " ")) })
		return lines, long, true
	case 6:
		each(func(b []byte) string { return strings.ToLower(hexText(b, " ")) })
		return lines, "", len(payload) > 7 || len(payload) >= 2
	case 7:
		if len(payload) <= 7 {
			return nil, "", false
		}
		lines = []string{fmt.Sprintf("%03X", len(payload))}
		for i, rest := 0, payload; len(rest) > 0; i++ {
			n := min(7, len(rest))
			if i == 0 {
				n = 6
			}
			lines = append(lines, fmt.Sprintf("%X: %s", i&0xF, hexText(rest[:n], " ")))
			rest = rest[n:]
		}
		return lines, "", true
	case 8: // ISO 14230
		if len(payload) > 63 {
			return nil, "", false
		}
		b := append([]byte{0x80 | byte(len(payload)), 0xF1, number}, payload...)
		return []string{hexText(append(b, sum8(b)), " ")}, Module(fmt.Sprintf("%02X", number)), true
	case 9: // SAE J1850
		b := append([]byte{0x48, 0x6B, number}, payload...)
		return []string{hexText(append(b, crc8(b)), "")}, Module(fmt.Sprintf("%02X", number)), len(payload) <= 11
	case 10: // ISO 9141-2
		b := append([]byte{0x48, 0x6B, number}, payload...)
		return []string{hexText(append(b, sum8(b)), " ")}, Module(fmt.Sprintf("%02X", number)), len(payload) <= 11
	case 11: // bare
		if len(payload) >= 5 && (payload[0] == 0x48 || payload[0] == 0x41) && payload[1] == 0x6B {
			return nil, "", false // reads as an older header
		}
		return []string{hexText(payload, " ")}, "", true
	}
	return nil, "", false
}

// FuzzFraming: whatever an answer holds, and however it is framed, what comes out
// is what went in.
func FuzzFraming(f *testing.F) {
	f.Add([]byte{0x41, 0x0C, 0x1A, 0xF8}, byte(4), byte(0), byte(1))
	f.Add([]byte("\x49\x02\x01WP0ZZZ99ZTS392124"), byte(7), byte(0), byte(2))
	f.Add(bytes.Repeat([]byte{0x43}, 300), byte(1), byte(9), byte(3))
	f.Add([]byte{0x46, 0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0}, byte(6), byte(3), byte(0))
	for i := range byte(framings) {
		f.Add([]byte{0x43, 0x04, 1, 2, 3, 4, 5, 6, 7, 8}, i, i, i)
	}
	f.Fuzz(func(t *testing.T, payload []byte, framing, number, stamp byte) {
		if len(payload) < 2 || len(payload) > maxMessage {
			return
		}
		payload[0] = 0x41 + payload[0]%10
		lines, module, ok := encode(payload, int(framing%framings), number)
		if !ok {
			return
		}
		var text strings.Builder
		for i, line := range lines {
			switch stamp % 5 {
			case 1:
				fmt.Fprintf(&text, "(%d.%06d) ", 1436509052+i, int(number)*1000)
			case 2:
				fmt.Fprintf(&text, "%02d:%02d:%02d.%03d ", i/3600%24, i/60%60, i%60, number)
			case 3:
				fmt.Fprintf(&text, "%d.5 ", i)
			case 4:
				fmt.Fprintf(&text, "2026-03-01T10:%02d:%02d.%03dZ ", i/60%60, i%60, number)
			}
			text.WriteString(line + []string{"\n", "\r\n", "\r"}[number%3])
		}
		d := newDecoder()
		var got []message
		d.onMessage = func(m message) {
			m.payload = bytes.Clone(m.payload)
			got = append(got, m)
		}
		r, _ := d.run(strings.NewReader(text.String()))
		if len(got) != 1 || !bytes.Equal(got[0].payload, payload) || got[0].module != module || got[0].partial {
			t.Fatalf("framing %d: % X of %s came back as %+v\n%s%v", framing%framings, payload, module, got, &text, r.Notes)
		}
		if (got[0].timed) != (stamp%5 != 0) {
			t.Fatalf("time stamp of %q was missed", text.String())
		}
	})
}

// FuzzDecode: any text is read without panic, the same way whether it comes whole
// or byte by byte, and nothing in the result is impossible.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"41 0C 1A F8", "7E8 10 14 49 02 01 57 50 30\n7E8 21 5A 5A\n7E8 22 53", "014\n0: 49 02 01\n1: 5A\n2: 53",
		"(1.0) can0 7E8#0441145A80\n(0.5) can0 7E8#0441145A80", " can0 7E8 [8] 04 41 0C 1A F8 00 00 00",
		"48 6B 10 43 01 71 01 74 00 00 ED", "87 F1 10 49 02 01 00 00 00 57 2B", "23:59:59 41 05 7B\n00:00:00 41 05 7B",
		"46 01 01 0A 0B B0 0B B0 0B B0 01 02", "45 07 10 14 00 28", "42 02 00 01 71\n42 0C 00 0B B8", "NO DATA\r>\x00",
		"2026-03-01T10:15:30.250Z 41 13 33\n41 1D 07\n41 24 80 00 80 00", "7F 01 12", "49 02 01 00 00 00 57\n49 02 09 50 30 5A 5A",
		"\xff\xfe4\x001\x00", "41 06 80 90 07 80 90 08 80 09 80", "10 00 41\n21 00", "1: \n:\n#\n[8]\n() 41", "41 00 FF FF FF FF 20 FF FF FF FF 40 FF FF FF FF",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := Decode(bytes.NewReader(b))
		again, againErr := Decode(iotest.OneByteReader(bytes.NewReader(b)))
		if (err == nil) != (againErr == nil) || !reflect.DeepEqual(r, again) {
			t.Fatalf("byte by byte differs: %+v, %v\n%+v, %v", r, err, again, againErr)
		}
		if (r.Messages == 0) != (err != nil) {
			t.Fatalf("%d messages and error %v", r.Messages, err)
		}
		for _, n := range r.Notes {
			if n.Line < 1 || n.Line > r.Lines || n.Text.IsZero() || n.Count < 1 || n.Kind == Damaged && n.Mend.IsZero() {
				t.Fatalf("note %+v of %d lines", n, r.Lines)
			}
		}
		for _, s := range r.Series {
			if s.Count < 1 || s.Count < len(s.Samples) || s.Min > s.Last || s.Last > s.Max || math.IsNaN(s.Last) || s.Resolution <= 0 {
				t.Fatalf("series %+v", s)
			}
			for i, v := range s.Samples {
				if i > 0 && v.T < s.Samples[i-1].T || v.T < 0 || v.V < s.Min || v.V > s.Max {
					t.Fatalf("sample %d of %+v", i, s)
				}
			}
		}
		for _, c := range r.Codes() {
			if back, err := ParseCode(c.Code.String()); err != nil || back != c.Code {
				t.Fatalf("code %v", c)
			}
		}
		for _, x := range r.Tests {
			if x.Bank < 0 || x.Bank > 4 || x.Position < 0 || x.Position > 8 || x.Cylinder > 12 {
				t.Fatalf("test %+v", x)
			}
		}
		if r.VIN != "" && len(r.VIN) != 17 {
			t.Fatalf("VIN %q", r.VIN)
		}
	})
}
