package templates

import (
	"fmt"
	"strings"
)

// LayoutAsNearest is the choice of the layout of the nearest known car.
const LayoutAsNearest = "As the nearest car of this make and model we know"

// SayNoNearest refuses that choice when no such car is known.
var SayNoNearest = Mend{"No car of this make and model is known here yet.", "Choose the layout that looks nearest; the bay corrects it on the car."}

// WindowWords says how long the comeback window stays open.
func WindowWords(days int) string {
	switch {
	case days < 0:
		return ""
	case days == 0:
		return "The comeback window closes today."
	case days == 1:
		return "The comeback window closes tomorrow."
	}
	return fmt.Sprintf("The comeback window is open for %d more days.", days)
}

// NearestWords names the nearest car with its sensors.
func NearestWords(car string, sensors []string) string {
	return "Like the " + car + " we know: " + WorkWords(sensors) + ". Correct what is different; the bay looks on the car."
}

// LayoutNote goes into the log of a job whose car has its layout from another.
func LayoutNote(car string) string {
	return "The sensor layout was taken from the " + car + " we know. Look on the car whether it is so."
}

// ConcernWas and OdometerWas keep in the log what a correction took away.
func ConcernWas(was string) string { return "The concern read before: “" + was + "”" }

// OdometerWas keeps the reading that stood before.
func OdometerWas(was string) string { return "The odometer read before: " + was + "." }

// OdometerNote goes into the log when the odometer runs against the last visit.
func OdometerNote(why string) string {
	return "The odometer does not fit the last visit. Said at the counter: " + why
}

// SayOdometerBack asks about a reading below the last one.
func SayOdometerBack(last string, otherUnit bool) Mend {
	m := Mend{"It read " + last + " at the last visit, so it would run backwards.", "Read it again and check the unit. If it stands so all the same, say why below."}
	if otherUnit {
		m.Mend = "Is the reading in kilometres? " + m.Mend
	}
	return m
}

// SayOdometerFar asks about a reading far above the last one.
func SayOdometerFar(last string, days int) Mend {
	return Mend{fmt.Sprintf("It read %s at the last visit %d days ago; nobody drives that far in the time.", last, days), "Look for a digit too many and check the unit. If it stands so all the same, say why below."}
}

// SayWhichNumber asks which of two readings of a number is meant.
func SayWhichNumber(typed string, readings []string) Mend {
	return Mend{"“" + typed + "” can be read in two ways.", "Write " + or(readings) + "."}
}

// SayNotAmount refuses what is no number, with one as it should look.
func SayNotAmount(typed, like string) Mend {
	return Mend{"“" + typed + "” is not an amount.", "Write it like " + like + "."}
}

func or(ss []string) string {
	switch len(ss) {
	case 0:
		return ""
	case 1:
		return ss[0]
	}
	return strings.Join(ss[:len(ss)-1], ", ") + " or " + ss[len(ss)-1]
}
