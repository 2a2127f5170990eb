package signal

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"crosscount/diag/say"
)

func hasAny(s string, parts ...string) bool {
	for _, p := range parts {
		if strings.Contains(s, p) {
			return true
		}
	}
	return false
}

// nameWords splits a column's name into lower-case words at blanks, signs, and
// where letters and digits or small and capital letters meet.
func nameWords(name string) []string {
	var out []string
	var cur []rune
	flush := func() {
		if len(cur) > 0 {
			out = append(out, strings.ToLower(string(cur)))
			cur = cur[:0]
		}
	}
	prev := rune(0)
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '%' && r != '°':
			flush()
		case unicode.IsUpper(r) && unicode.IsLower(prev):
			flush()
			cur = append(cur, r)
		default:
			cur = append(cur, r)
		}
		prev = r
	}
	flush()
	return out
}

// placeIn finds a sensor's bank and position in a name: B1S2, "bank 1 sensor 2",
// O2S21, front and rear, up- and downstream, pre- and post-converter. Zero is not
// told.
func placeIn(name string) (bank, position int) {
	n := strings.ToLower(name)
	flat := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, n)
	digitAfter := func(s string, words ...string) int {
		for _, w := range words {
			for from := 0; ; {
				k := strings.Index(s[from:], w)
				if k < 0 {
					break
				}
				from += k + len(w)
				if from < len(s) && s[from] >= '1' && s[from] <= '4' {
					return int(s[from] - '0')
				}
			}
		}
		return 0
	}
	bank = digitAfter(flat, "bank")
	position = digitAfter(flat, "sensor", "position", "pos")
	for i := 0; i+3 < len(flat); i++ { // b1s2
		if flat[i] == 'b' && flat[i+2] == 's' && flat[i+1] >= '1' && flat[i+1] <= '4' && flat[i+3] >= '1' && flat[i+3] <= '4' {
			bank, position = int(flat[i+1]-'0'), int(flat[i+3]-'0')
		}
	}
	if bank == 0 && position == 0 { // O2S21: bank 2, sensor 1
		for _, w := range []string{"o2s", "o2sensor"} {
			if k := strings.Index(flat, w); k >= 0 && k+len(w)+1 < len(flat) {
				b, p := flat[k+len(w)], flat[k+len(w)+1]
				if b >= '1' && b <= '4' && p >= '1' && p <= '4' && k+len(w)+2 == len(flat) {
					bank, position = int(b-'0'), int(p-'0')
				}
			}
		}
	}
	if bank == 0 {
		for _, w := range nameWords(name) {
			switch w {
			case "b1", "stft1", "ltft1", "shrtft1", "longft1", "trim1":
				bank = 1
			case "b2", "stft2", "ltft2", "shrtft2", "longft2", "trim2":
				bank = 2
			}
		}
	}
	if position == 0 {
		switch {
		case hasAny(n, "upstream", "front", "pre-cat", "precat", "pre cat", "pre-conv", "before conv", "ahead of"):
			position = 1
		case hasAny(n, "downstream", "rear", "post-cat", "postcat", "post cat", "post-conv", "after conv", "behind"):
			position = 2
		}
	}
	return bank, position
}

// byName guesses a quantity from a column's name and unit. The names are plain
// words of the trade and the standard names of service 01 quantities.
func byName(name string, u unit, hasUnit bool) (Quantity, float64, say.Text) {
	n := strings.ToLower(strings.NewReplacer("_", " ", "-", " ", ".", " ").Replace(name))
	w := nameWords(name)
	word := func(list ...string) bool {
		return slices.ContainsFunc(w, func(s string) bool { return slices.Contains(list, s) })
	}
	says := func(q Quantity, conf float64) (Quantity, float64, say.Text) {
		if hasUnit && u.base != q.Unit() && q.Unit() != "" {
			return "", 0, say.Text{} // the unit says otherwise
		}
		return q, conf, say.T("its name says %s", say.T(q.Words()))
	}
	bank, position := placeIn(name)
	switch {
	case n == "":
		return "", 0, say.Text{}
	case hasAny(n, "since", "cleared", "mil on", "distance", "warm up", "fuel level", "fuel tank", "pedal", "timing", "evap", "purge"):
		return Other, 0.9, say.T("its name says something that is not measured here")
	case hasAny(n, "catalyst temp", "cat temp", "converter temp"):
		return says(CatalystTemp, 0.95)
	case hasAny(n, "equiv", "command") && hasAny(n, "ratio", "lambda"):
		return says(LambdaCommand, 0.9)
	case fuelSystemName(name):
		return says(FuelSystem, 0.85)
	case hasAny(n, "trim") && hasAny(n, "short", "st ") || word("stft", "stft1", "stft2", "shrtft1", "shrtft2"):
		if hasAny(n, "o2", "sensor") && !hasAny(n, "fuel", "bank") {
			return Other, 0.7, say.T("its name says the trim of one sensor")
		}
		return says(ShortTrim, 0.95)
	case hasAny(n, "trim") && hasAny(n, "long", "lt ") || word("ltft", "ltft1", "ltft2", "longft1", "longft2"):
		return says(LongTrim, 0.95)
	case word("rpm") || hasAny(n, "engine speed", "engine rpm", "revs"):
		return says(EngineSpeed, 0.95)
	case hasAny(n, "vehicle speed", "road speed", "car speed") || word("vss") || n == "speed" || hasAny(n, "speed") && hasUnit && u.base == "km/h":
		return says(VehicleSpeed, 0.95)
	case hasAny(n, "load") && !hasAny(n, "download"):
		return says(EngineLoad, 0.9)
	case hasAny(n, "coolant", "engine temp") || word("ect"):
		return says(Coolant, 0.95)
	case hasAny(n, "intake air temp", "intake temp", "air temp", "intake_air_temp") || word("iat"):
		return says(IntakeAir, 0.95)
	case hasAny(n, "barometric", "baro"):
		return says(Barometric, 0.95)
	case hasAny(n, "manifold", "map ") && !hasAny(n, "temp") || word("map"):
		return says(ManifoldPress, 0.9)
	case word("maf") || hasAny(n, "mass air", "airflow", "air flow", "mass flow"):
		return says(Airflow, 0.9)
	case hasAny(n, "throttle") || word("tps"):
		return says(Throttle, 0.8)
	case hasAny(n, "module volt", "control module", "battery", "system volt"):
		return says(ModuleVoltage, 0.95)
	case hasAny(n, "pump current", "ip current") || hasUnit && u.base == "mA" && hasAny(n, "o2", "sensor", "lambda", "wide", "a/f", "pump"):
		return says(PumpCurrent, 0.9)
	case hasAny(n, "lambda", "λ", "air fuel", "air/fuel", "a/f") || word("afr"):
		if hasUnit && u.base == "V" {
			return SensorVoltage, 0.8, say.T("its name says lambda sensor, its unit is a voltage")
		}
		return says(SensorLambda, 0.9)
	case hasAny(n, "o2", "oxygen", "narrow", "lambda sond") || word("ho2s", "o2s"):
		if !hasUnit || u.base == "V" {
			return SensorVoltage, 0.95, say.T("its name says oxygen sensor")
		}
		return "", 0, say.Text{}
	case position > 0 && (bank > 0 || hasAny(n, "stream", "cat", "front", "rear", "sensor")):
		if !hasUnit || u.base == "V" {
			return SensorVoltage, 0.85, say.T("its name says where a sensor sits")
		}
		if u.base == "mA" {
			return PumpCurrent, 0.85, say.T("its name says where a sensor sits, its unit is a current")
		}
		if u.base == "lambda" {
			return SensorLambda, 0.85, say.T("its name says where a sensor sits, its unit is lambda")
		}
	}
	return "", 0, say.Text{}
}

// byValues guesses a quantity from the range of its values, and its unit.
func byValues(c *colSniff, u unit, hasUnit bool) (Quantity, float64, say.Text) {
	if len(c.values) == 0 {
		return Other, 0.1, say.T("it holds no numbers")
	}
	v := slices.Sorted(slices.Values(c.values))
	at := func(p float64) float64 { return v[int(p*float64(len(v)-1))] }
	lo, mid, hi := at(0.02), at(0.5), at(0.98)
	spread := hi - lo
	span := say.T("values from %.6g to %.6g", lo, hi)
	if hasUnit {
		x, y := u.to(lo), u.to(hi)
		switch u.base {
		case "V":
			if x > -1.5 && y < 1.6 {
				return SensorVoltage, 0.75, say.T("its unit is a voltage; %s %s suit a narrow-band sensor", span, u.name)
			}
			if x > 8 && y < 16 {
				return ModuleVoltage, 0.6, say.T("its unit is a voltage; %s %s suit the car's supply", span, u.name)
			}
			return Other, 0.4, say.T("its unit is a voltage, but %s %s suit no narrow-band sensor", span, u.name)
		case "lambda":
			return SensorLambda, 0.8, say.T("its unit is lambda or air-fuel ratio")
		case "mA":
			return PumpCurrent, 0.6, say.T("its unit is a current")
		case "rpm":
			return EngineSpeed, 0.9, say.T("its unit is revolutions per minute")
		case "km/h":
			return VehicleSpeed, 0.9, say.T("its unit is a road speed")
		case "g/s":
			return Airflow, 0.9, say.T("its unit is a mass flow")
		}
		return Other, 0.4, say.T("its unit alone does not tell what it is")
	}
	grid := spread > 0
	for _, x := range c.values {
		if !onTrimGrid(x) || x == math.Trunc(x) && false {
			grid = false
			break
		}
	}
	fractional := slices.ContainsFunc(c.values, func(x float64) bool { return x != math.Trunc(x) })
	switch {
	case grid && fractional && lo >= -50 && hi <= 50:
		return ShortTrim, 0.5, say.T("%s on the steps of a trim byte", span)
	case lo > -0.5 && hi < 1.6 && spread > 0.25 && fractional:
		return SensorVoltage, 0.7, say.T("%s suit a narrow-band sensor in volts", span)
	case lo > -500 && hi < 1600 && hi > 300 && spread > 250 && mid < 1000 && lo < 400:
		return SensorVoltage, 0.55, say.T("%s suit a narrow-band sensor in millivolts", span)
	case lo > 0.6 && hi < 1.6 && mid > 0.85 && mid < 1.15 && fractional:
		return SensorLambda, 0.5, say.T("%s suit lambda", span)
	case lo > 9 && hi < 22 && mid > 12.5 && mid < 16.5 && fractional && spread < 6:
		return SensorLambda, 0.45, say.T("%s suit an air-fuel ratio", span)
	}
	return Other, 0.2, say.T("%s do not tell what it is", span)
}
