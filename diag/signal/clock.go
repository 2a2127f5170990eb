package signal

// scanClock reads a time of day at b[i], with or without a date ahead of it, and
// answers the number of the day (0 without a date) and the seconds in it. Accepted are h:mm:ss with a fraction, mm:ss with or
// without one, am and pm, a zone at the end (ignored: a recording does not
// travel), and dates of three numbers joined by - / or . in the given order
// (ymd, dmy, mdy; four digits first are always ymd).
func scanClock(b []byte, i int, delimiter byte, order string) (day int, sec float64, next int, ok bool) {
	start := i
	dated := false
	if d, n, ok := scanDate(b, i, order); ok {
		i = n
		if i < len(b) && (b[i] == 'T' || b[i] == 't') {
			i++
		} else {
			j := i
			for i < len(b) && b[i] == ' ' {
				i++
			}
			if i == j {
				return 0, 0, start, false
			}
		}
		day, dated = d, true
	}
	var part [3]int
	parts := 0
	for {
		v, n, ok := scanDigits(b, i, 4)
		if !ok {
			return 0, 0, start, false
		}
		part[parts] = v
		parts++
		i = n
		if parts == 3 || i >= len(b) || b[i] != ':' {
			break
		}
		i++
	}
	if parts < 2 {
		return 0, 0, start, false
	}
	frac := 0.0
	if i+1 < len(b) && (b[i] == '.' || b[i] == ':' && parts == 3 || b[i] == ',' && delimiter != ',') && b[i+1]-'0' <= 9 {
		i++
		m, p := 0.0, 1.0
		for ; i < len(b) && b[i]-'0' <= 9; i++ {
			if p < 1e15 {
				m = m*10 + float64(b[i]-'0')
				p *= 10
			}
		}
		frac = m / p
	}
	h, m, s := part[0], part[1], part[2]
	if parts == 2 {
		h, m, s = 0, part[0], part[1]
	}
	if s > 60 || parts == 3 && m > 59 || h > 9999 {
		return 0, 0, start, false
	}
	j := i
	for j < len(b) && b[j] == ' ' {
		j++
	}
	if j+1 < len(b) && b[j+1]|0x20 == 'm' && (b[j]|0x20 == 'a' || b[j]|0x20 == 'p') {
		if h < 1 || h > 12 {
			return 0, 0, start, false
		}
		h %= 12
		if b[j]|0x20 == 'p' {
			h += 12
		}
		i = j + 2
	}
	if i < len(b) && (b[i] == 'Z' || b[i] == 'z') {
		i++
	} else if dated && i < len(b) && (b[i] == '+' || b[i] == '-') {
		i++
		for i < len(b) && (b[i]-'0' <= 9 || b[i] == ':') {
			i++
		}
	}
	return day, float64(h*3600+m*60+s) + frac, i, true
}

func scanDigits(b []byte, i, most int) (v, next int, ok bool) {
	j := i
	for ; j < len(b) && j-i < most && b[j]-'0' <= 9; j++ {
		v = v*10 + int(b[j]-'0')
	}
	return v, j, j > i
}

// scanDate reads a date and answers its day number.
func scanDate(b []byte, i int, order string) (day, next int, ok bool) {
	first, j, ok := scanDigits(b, i, 4)
	if !ok || j >= len(b) || b[j] != '-' && b[j] != '/' && b[j] != '.' {
		return 0, i, false
	}
	sep, wide := b[j], j-i == 4
	second, j, ok := scanDigits(b, j+1, 2)
	if !ok || j >= len(b) || b[j] != sep {
		return 0, i, false
	}
	third, j, ok := scanDigits(b, j+1, 4)
	if !ok {
		return 0, i, false
	}
	y, m, d := first, second, third
	if !wide {
		switch order {
		case "mdy":
			y, m, d = third, first, second
		case "ymd":
		default:
			y, m, d = third, second, first
		}
	}
	if y < 100 {
		y += 2000
	}
	if m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, i, false
	}
	return dayNumber(y, m, d), j, true
}

// dayNumber counts days of the proleptic Gregorian calendar; March begins the
// year so that the leap day comes last.
func dayNumber(y, m, d int) int {
	if m <= 2 {
		y--
		m += 12
	}
	return 365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + d
}
