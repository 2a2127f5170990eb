package web

import (
	"strings"
	"time"

	"crosscount/templates"
)

// vin reads a vehicle identification number. The check digit is a rule of North
// America (49 CFR 565.15); elsewhere a number that fails it is common. A failing
// number is taken when the person says that it stands so on the car.
func (f *form) vin(fd, asIs *templates.Field) string {
	v := strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(f.text(fd, 40)))
	confirmed := f.value(asIs) != ""
	if v == "" {
		return ""
	}
	fd.Value = v
	p, ok := checkVIN(v)
	if !ok && (!p.soft || !confirmed) {
		f.wrong(fd, p.mend)
	}
	return v
}

// lifeMoment says when and at which odometer reading a sensor came or went.
func lifeMoment(clock wallClock, at *time.Time, km *int, unit string) string {
	var parts []string
	if at != nil {
		parts = append(parts, clock.day(*at))
	}
	if km != nil {
		parts = append(parts, thousands(int64(inShop(*km, unit)))+" "+unit)
	}
	return strings.Join(parts, ", ")
}
