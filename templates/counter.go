package templates

import (
	"strings"

	"crosscount/templates/lang"
)

// LayoutAsNearest is the choice of the layout of the nearest known car.
const LayoutAsNearest = "As the nearest car of this make and model we know"

// SayNoNearest refuses that choice when no such car is known.
var SayNoNearest = Mend{"No car of this make and model is known here yet.", "Choose the layout that looks nearest; the bay corrects it on the car."}

// WindowWords says how long the comeback window stays open.
func WindowWords(l *lang.Language, days int) string {
	switch {
	case days < 0:
		return ""
	case days == 0:
		return l.T("The comeback window closes today.")
	case days == 1:
		return l.T("The comeback window closes tomorrow.")
	}
	return l.T("The comeback window is open for %d more days.", days)
}

// NearestWords names the nearest car with its sensors.
func NearestWords(l *lang.Language, car string, sensors []string) string {
	return l.T("Like the %s we know: %s. Correct what is different; the bay looks on the car.", car, WorkWords(sensors))
}

// LayoutNote goes into the log of a job whose car has its layout from another.
func LayoutNote(l *lang.Language, car string) string {
	return l.T("The sensor layout was taken from the %s we know. Look on the car whether it is so.", car)
}

// ConcernWas and OdometerWas keep in the log what a correction took away.
func ConcernWas(l *lang.Language, was string) string {
	return l.T("The concern read before: “%s”", was)
}

// OdometerWas keeps the reading that stood before.
func OdometerWas(l *lang.Language, was string) string {
	return l.T("The odometer read before: %s.", was)
}

// OdometerNote goes into the log when the odometer runs against the last visit.
func OdometerNote(l *lang.Language, why string) string {
	return l.T("The odometer does not fit the last visit. Said at the counter: %s", why)
}

// SayOdometerBack asks about a reading below the last one.
func SayOdometerBack(l *lang.Language, last string, otherUnit bool) Mend {
	m := Mend{l.T("It read %s at the last visit, so it would run backwards.", last), l.T("Read it again and check the unit. If it stands so all the same, say why below.")}
	if otherUnit {
		m.Mend = l.T("Is the reading in kilometres?") + " " + m.Mend
	}
	return m
}

// SayOdometerFar asks about a reading far above the last one.
func SayOdometerFar(l *lang.Language, last string, days int) Mend {
	return Mend{l.T("It read %s at the last visit %d days ago; nobody drives that far in the time.", last, days), "Look for a digit too many and check the unit. If it stands so all the same, say why below."}
}

// SayWhichNumber asks which of two readings of a number is meant.
func SayWhichNumber(l *lang.Language, typed string, readings []string) Mend {
	return Mend{l.T("“%s” can be read in two ways.", typed), l.T("Write %s.", or(l, readings))}
}

// SayNotAmount refuses what is no number, with one as it should look.
func SayNotAmount(l *lang.Language, typed, like string) Mend {
	return Mend{l.T("“%s” is not an amount.", typed), l.T("Write it like %s.", like)}
}

func or(l *lang.Language, ss []string) string {
	switch len(ss) {
	case 0:
		return ""
	case 1:
		return ss[0]
	}
	return l.T("%s or %s", strings.Join(ss[:len(ss)-1], ", "), ss[len(ss)-1])
}
