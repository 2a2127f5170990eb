package templates

import "crosscount/templates/lang"

// Titles of pages, as the browser's tab shows them.
const (
	TitleLogin    = "Log in"
	TitleStart    = "First day"
	TitlePassword = "Choose a password"
	TitleHome     = "Whose move is it?"
)

// SayLogInFirst answers a program that is not logged in.
const SayLogInFirst = "Log in first."

// Sentences for a page that cannot be shown.
const (
	SayDeadLink  = "This link was used already, has run out or was never made. Ask the owner for a new one."
	SayNotActive = "The password is kept, but this person no longer works here. Ask the owner."
)

// What is wrong with an entry, and the mend.
var (
	SayMissing         = Mend{"Nothing is filled in.", "This one is needed."}
	SayChoose          = Mend{"Nothing is chosen.", "Choose one."}
	SayNotOffered      = Mend{"That is not one of the choices.", "Choose one of those shown."}
	SayLoginForm       = Mend{"A log-in name has at least 2 characters and no spaces.", "Something like “dana” will do."}
	SayPasswordShort   = Mend{"That is shorter than 10 characters.", "A few words in a row are easy to keep in mind and hard to guess."}
	SayPasswordLong    = Mend{"That is longer than 400 characters.", "Choose a shorter one."}
	SayPasswordIsName  = Mend{"That is the log-in name.", "Choose something only you know."}
	SayPasswordsDiffer = Mend{"The two are not the same.", "Type both again."}
	SayWrongOld        = Mend{"That is not your present password.", "Type it again. If it is lost, the owner can make a link to choose a new one."}
)

// SayTooLong refuses a text that is too long.
func SayTooLong(l *lang.Language, max int) Mend {
	return Mend{l.T("That is longer than %d characters.", max), "Say it more briefly."}
}

// SayWrongLogin does not tell which of the two was wrong, but tells what is left.
func SayWrongLogin(l *lang.Language, left int) Mend {
	m := Mend{"Name and password do not belong together.", l.T("Check both and try again.")}
	switch {
	case left == 1:
		m.Mend += " " + l.T("One more attempt for this name, then a wait.")
	case left > 1 && left <= 3:
		m.Mend += " " + l.T("%d more attempts for this name, then a wait.", left)
	case left <= 0:
		m.Mend = "Now wait a while before the next attempt, or ask the owner for a link to choose a new password."
	}
	return m
}

// SayTooManyForName says honestly why nothing is checked for now.
func SayTooManyForName(l *lang.Language, n, minutes int) Mend {
	return Mend{l.T("%d wrong passwords were given for this name within %d minutes, so none is checked for now.", n, minutes),
		l.T("Wait up to %d minutes, or ask the owner for a link to choose a new password.", minutes)}
}

// SayTooManyFromHere is the same for the device or network.
func SayTooManyFromHere(l *lang.Language, n, minutes int) Mend {
	return Mend{l.T("%d wrong passwords came from this network within %d minutes, so none is checked for now.", n, minutes),
		l.T("Wait up to %d minutes and try again.", minutes)}
}

// Did is what the last act did; a key that a cookie may carry.
type Did string

// The things done.
const (
	DidPassword Did = "password"
	DidShop     Did = "shop"
	DidPerson   Did = "person"
)

// DidWords says it.
func DidWords(d Did) string {
	switch d {
	case DidPassword:
		return "Your password is changed. Everywhere else you are logged out."
	case DidShop:
		return "The shop's settings are saved."
	case DidPerson:
		return "Saved."
	case DidForget:
		return "It is forgotten. What was read by it stays as it is."
	case DidYes:
		return "The yes is written down."
	case DidAsked:
		return "It is noted that the customer was asked."
	case DidPaid:
		return "The payment is noted."
	case DidRevoked:
		return "The link no longer works."
	case DidPapers:
		return "The converter's papers are kept."
	case DidCar:
		return "The car's data are saved."
	case DidWhose:
		return "The customer's data are saved."
	case DidHead:
		return "It is corrected. What stood there before is in the log."
	case DidSensors:
		return "The sensors are kept as you said. The engine weighs the car's open jobs with them."
	}
	return ""
}

// Titles of the owner's pages.
const (
	TitlePeople = "People"
	TitleShop   = "The shop"
)

var (
	SayNoCurrency = Mend{"No currency has this code.", "Use the three letters of ISO 4217, such as USD, EUR or MXN."}
	SayNoTimeZone = Mend{"No time zone has this name.", "Use a name such as America/Chicago or Europe/Lisbon."}
)

// SayNotNumber refuses what is no number.
func SayNotNumber(l *lang.Language, typed, unit string) Mend {
	if unit == "" {
		return Mend{l.T("“%s” is not a number.", typed), "Use digits, such as 0.45 or 0,45."}
	}
	return Mend{l.T("“%s” is not a number.", typed), l.T("Use digits, such as 0.45 or 0,45, in %s.", unit)}
}

// SayWrongUnit refuses a unit of another quantity.
func SayWrongUnit(l *lang.Language, typed, unit string) Mend {
	if unit == "" {
		return Mend{l.T("“%s” does not belong here.", typed), "Type the bare number."}
	}
	return Mend{l.T("“%s” is not a unit of this quantity.", typed), l.T("Give it in %s, or leave the unit away.", unit)}
}

// SayNotWhole refuses what is no whole number.
func SayNotWhole(l *lang.Language, typed string) Mend {
	return Mend{l.T("“%s” is not a whole number.", typed), "Use digits only, such as 128000."}
}

// SayOutOfRange refuses a number that cannot be.
func SayOutOfRange(l *lang.Language, low, high, unit string) Mend {
	if unit != "" {
		unit = " " + unit
	}
	return Mend{"That cannot be right.", l.T("It lies between %s and %s%s. Check the decimal sign and the unit.", low, high, unit)}
}

// Sentences for what a job does not allow.
const (
	SayJobClosed    = "This job is closed. A car that came back is a new job; a slip is mended by opening the job again."
	SayNoPartWanted = "The verdict in force asks for no part that is not fitted already. Decide otherwise first, with a reason."
)

// What is wrong with an entry on a job, and the mend.
var (
	SayNotRead       = Mend{"That could not be read.", "Check what was typed and send it again."}
	SayNoRemark      = Mend{"Nothing is ticked.", "Tick what was heard or seen; leave the page if it was nothing."}
	SayNoCodes       = Mend{"No code is filled in.", "Write the codes down, or tick that the car holds none of this status."}
	SayListTold      = Mend{"Whether others read the whole list is not known here.", "Take the tick out, or read the codes on the car."}
	SayListPermanent = Mend{"Nothing is concluded from a list of permanent codes.", "Take the tick out: the codes are written down without it."}
	SayRepairSent    = Mend{"A repair is no entry of the log.", "Write it down on the job's page under “Done to the car”; the shop takes it from there."}
	SayRepairCounted = Mend{"The shop itself counts the repairs before an entry.", "Leave after_repair out."}
	SayNoTrim        = Mend{"No trim is filled in.", "Fill in at least one; leave empty what was not read."}
	SayEvidenceMoved = Mend{"The evidence has changed since you opened this page.", "Look at what the engine makes of it now, then decide."}
	SayNothingRead   = Mend{"Nothing has been read on the car yet.", "Read the codes first; what others told is no reading."}
	SayStillOpen     = Mend{"The verdict is still open.", "Do the next test, or decide otherwise with a reason."}
	SayWhichPart     = Mend{"No place is ticked.", "Tick which sensor is to be renewed."}
	SayPartOrNot     = Mend{"No part is chosen, but a place is ticked.", "Untick it, or choose that a part is needed."}
	SayMendFirst     = Mend{"What killed the old sensor is not mended yet.", "Write down the mending first, or say why the new sensor goes in before."}
	SayWhyUnproved   = Mend{"The repair is not proved.", "Drive the proof, or say why the car leaves without one."}
	SayWhichCause    = Mend{"No cause is named.", "Tick the cause below, or choose another ending."}
)

// Words of the forms of a job.
const (
	TrimShort    = "Short"
	TrimLong     = "Long"
	NoBank       = "No bank in particular"
	PleaseChoose = "Choose"
	WaitBench    = "The customer said yes. The bay mends and writes it down."
)

// ShopsLanguage leaves the language to the shop.
var ShopsLanguage = Option{"", "The shop's"}
