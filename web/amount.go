package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/language"
	"golang.org/x/text/message"
	decimals "golang.org/x/text/number"

	"crosscount/store"
	"crosscount/templates"
)

// numberStyle is how a shop writes numbers.
type numberStyle struct{ decimal, group string }

// styleOf takes the signs from the locale's own way of writing (CLDR by x/text).
func styleOf(locale string) numberStyle {
	tag, err := language.Parse(locale)
	if err != nil {
		tag = language.AmericanEnglish
	}
	s := message.NewPrinter(tag).Sprint(decimals.Decimal(1234567.5))
	i := strings.LastIndexFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
	j := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
	if i < 0 || j < 0 || i == j {
		return numberStyle{".", ","}
	}
	d, g := []rune(s[i:])[0], []rune(s[j:])[0]
	return numberStyle{string(d), string(g)}
}

// numberStyles are the styles a shop chooses from, by a locale that writes so.
func numberStyles() []templates.Option {
	var out []templates.Option
	for _, l := range []string{"en-US", "en-150", "de-CH", "en-ZA"} {
		out = append(out, templates.Option{Value: l, Label: styleOf(l).format(123450, 2)})
	}
	return out
}

// format writes a whole number of the scale-th decimal: 123450 at scale 2 is 1,234.50.
func (s numberStyle) format(n int64, scale int) string {
	sign := ""
	if n < 0 {
		sign, n = "\u2212", -n
	}
	d := fmt.Sprintf("%0*d", scale+1, n)
	whole, rest := d[:len(d)-scale], d[len(d)-scale:]
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + s.group + whole[i:]
	}
	if scale > 0 {
		whole += s.decimal + rest
	}
	return sign + whole
}

// short leaves away decimals that are zero.
func (s numberStyle) short(n int64, scale int) string {
	for scale > 0 && n%10 == 0 {
		n, scale = n/10, scale-1
	}
	return s.format(n, scale)
}

// typed is what may stand in an amount beside digits.
var blanks = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "", "\u2009", "", "'", "", "\u2019", "", "\u2212", "-", "\u2013", "-")

// parse reads a decimal number exactly, as a whole number of the scale-th decimal.
// Both styles of writing are understood; doubt holds the readings of a number that
// means one thing in this shop's style and another elsewhere.
func (s numberStyle) parse(text string, scale int) (n int64, doubt []string, ok bool) {
	t := blanks.Replace(strings.TrimSpace(text))
	sign := int64(1)
	if strings.HasPrefix(t, "-") {
		sign, t = -1, t[1:]
	}
	if t == "" || strings.Trim(t, "0123456789.,") != "" || strings.Trim(t, ".,") == "" {
		return 0, nil, false
	}
	var readings []int64
	var wrote []string
	for _, x := range []numberStyle{s.ascii(), s.ascii().other()} {
		if v, good := x.exact(t, scale); good {
			if len(readings) == 0 || readings[0] != v {
				readings, wrote = append(readings, v), append(wrote, s.format(v, scale))
			}
			if len(readings) == 1 && x == s.ascii() {
				return sign * v, nil, true // the shop's own style counts
			}
		}
	}
	if len(readings) == 0 {
		return 0, nil, false
	}
	// Not the shop's style, so the other one. "1.234" could also be meant as a decimal
	// with too many places.
	if strings.Count(t, s.ascii().decimal) == 1 && !strings.Contains(t, s.ascii().group) {
		whole, rest, _ := strings.Cut(t, s.ascii().decimal)
		if cut, good := s.ascii().exact(whole+s.ascii().decimal+rest[:scale], scale); good && scale > 0 {
			return 0, append(wrote, s.format(cut, scale)), false
		}
	}
	return sign * readings[0], nil, true
}

// ascii is the style with the signs a keyboard has.
func (s numberStyle) ascii() numberStyle {
	if s.decimal == "," {
		return numberStyle{",", "."}
	}
	return numberStyle{".", ","}
}

func (s numberStyle) other() numberStyle { return numberStyle{s.group, s.decimal} }

// exact reads digits in just this style: groups of three, at most scale decimals.
func (s numberStyle) exact(t string, scale int) (int64, bool) {
	whole, rest, _ := strings.Cut(t, s.decimal)
	if len(rest) > scale || strings.ContainsAny(rest, ".,") {
		return 0, false
	}
	if groups := strings.Split(whole, s.group); len(groups) > 1 {
		for i, g := range groups {
			if i == 0 && (g == "" || len(g) > 3) || i > 0 && len(g) != 3 {
				return 0, false
			}
		}
		whole = strings.Join(groups, "")
	}
	if whole == "" {
		whole = "0"
	}
	n, err := strconv.ParseInt(whole+rest+strings.Repeat("0", scale-len(rest)), 10, 64)
	return n, err == nil && !strings.ContainsAny(whole, ".,")
}

// till writes and reads the money of one job.
type till struct {
	currency string
	minor    int
	style    numberStyle
}

func tillOf(shop store.Shop, currency string) till {
	if currency == "" {
		currency = shop.Currency
	}
	return till{currency, minorUnits(currency), styleOf(shop.Locale)}
}

// say writes an amount with its currency.
func (t till) say(minor int64) string { return t.currency + "\u00a0" + t.style.format(minor, t.minor) }

func (t till) plain(minor int64) string { return t.style.format(minor, t.minor) }

// percent writes millionths as per cent.
func (t till) percent(ppm int) string { return t.style.short(int64(ppm), 4) + " %" }

// decimal reads a field as an exact number of the scale-th decimal.
func (f *form) decimal(fd *templates.Field, style numberStyle, scale int, low, high int64) int64 {
	v := f.value(fd)
	if v == "" {
		if fd.Required {
			f.wrong(fd, templates.SayMissing)
		}
		return 0
	}
	n, doubt, ok := style.parse(v, scale)
	switch {
	case len(doubt) > 0:
		f.wrong(fd, templates.SayWhichNumber(tongue(f.r), v, doubt))
	case !ok:
		f.wrong(fd, templates.SayNotAmount(tongue(f.r), v, style.format(123450*pow10(scale)/100, scale)))
	case n < low || n > high:
		f.wrong(fd, templates.SayOutOfRange(tongue(f.r), style.short(low, scale), style.short(high, scale), fd.Unit))
	}
	return n
}

// amount reads money in the shop's style. A currency in front or behind is let pass if
// it is the job's.
func (f *form) amount(fd *templates.Field, t till, low int64) int64 {
	fd.Unit = t.currency
	v := f.r.PostFormValue(fd.Name)
	if bare := strings.TrimSpace(strings.ReplaceAll(strings.ToUpper(v), t.currency, "")); bare != strings.ToUpper(strings.TrimSpace(v)) {
		f.r.PostForm.Set(fd.Name, bare)
	}
	return f.decimal(fd, t.style, t.minor, low, 1e11)
}

func pow10(n int) int64 { return int64(math.Pow10(n)) }

// share is ppm millionths of an amount, rounded half away from zero as the store
// rounds lines.
func share(minor int64, ppm int64) int64 {
	p := minor * ppm
	if p < 0 {
		return -((-p + 500_000) / 1_000_000)
	}
	return (p + 500_000) / 1_000_000
}
