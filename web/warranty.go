package web

import (
	"slices"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/templates"
)

// The federal emission warranty of the United States (EPA420-F-96-020): everything
// that bears on emissions for the first term, three major parts for the second.
// Sensors fall under the first, which is an inference from the list of the three.
const (
	warrantyYears, warrantyMiles           = 2, 24000
	majorYears, majorMiles                 = 8, 80000
	majorSince                             = 1995 // model year
	converterCause, exhaustCause, unitBits = "catalyst_worn", "exhaust_restricted", "control_software"
)

// warranty hints at who may have to pay. It is a hint with its source, no legal advice,
// and only for shops in the United States.
func warranty(d *desk, now time.Time) []string {
	if !strings.HasSuffix(d.shop.Locale, "-US") || d.Vehicle.ModelYear == 0 || d.kase.Vehicle.OdometerKm == 0 {
		return nil
	}
	age := now.Year() - d.Vehicle.ModelYear
	miles := inShop(d.kase.Vehicle.OdometerKm, "mi")
	var out []string
	if age <= warrantyYears && miles < warrantyMiles {
		out = append(out, templates.WarrantyAll)
	} else if age <= majorYears && miles < majorMiles && d.Vehicle.ModelYear >= majorSince && d.majorSuspected() {
		out = append(out, templates.WarrantyMajor)
	}
	if len(out) > 0 {
		out = append(out, templates.WarrantySource)
	}
	return out
}

// majorSuspected says that converter or control unit are likely part of the work.
func (d *desk) majorSuspected() bool {
	of := func(c string) bool { return c == converterCause || c == exhaustCause || c == unitBits }
	if slices.ContainsFunc(d.toMend(), func(c diag.CauseRef) bool { return of(c.Cause) }) {
		return true
	}
	return slices.ContainsFunc(d.decision.Causes, func(c diag.Cause) bool { return of(c.Cause) && c.P >= 0.1 })
}
