package templates

import (
	"strings"

	"crosscount/templates/lang"
)

// Act is the one next thing to do on a job.
type Act string

// The acts, in the order in which a job meets them.
const (
	ActLayout   Act = "layout"   // the sensors are not known yet
	ActRead     Act = "read"     // nothing of our own is in the log
	ActTest     Act = "test"     // the engine wants a test
	ActVerdict  Act = "verdict"  // a verdict waits to be accepted
	ActStuck    Act = "stuck"    // no test is worth doing and the verdict is open
	ActAnew     Act = "anew"     // findings came in after the verdict
	ActAsk      Act = "ask"      // the customer has to say yes
	ActMend     Act = "mend"     // mend or fit
	ActFinish   Act = "finish"   // work is written down but not finished
	ActProve    Act = "prove"    // drive the proof
	ActFailed   Act = "failed"   // the proof failed
	ActHandOver Act = "handover" // close and give the car back
	ActNothing  Act = "nothing"  // finished
	ActWeigh    Act = "weigh"    // being weighed
)

// MoveView is one job with the one next act.
type MoveView struct {
	Href     string
	Act      Act
	Whose    string // writer, technician, owner, customer
	Job      int64
	Car      string
	Plate    string
	Customer string
	Phone    string
	What     string // the test, the work, the verdict, as the act needs it
	Spot     string
	Minutes  string
	Decision string
	Worker   string // who works on it; empty for nobody
	Since    string
	Comeback bool
}

// MoveSentence writes the next act out.
func MoveSentence(l *lang.Language, m MoveView) string {
	switch m.Act {
	case ActLayout:
		return l.T("Look where the sensors of the %s sit", m.Car)
	case ActRead:
		return l.T("Read the codes of the %s", m.Car)
	case ActTest:
		return m.What + spotIf(m.Spot)
	case ActVerdict:
		switch m.Decision {
		case "part":
			return l.T("Look over the verdict: a part, %s", m.What)
		default:
			return l.T("Look over the verdict: no part")
		}
	case ActStuck:
		return l.T("Decide: no further test pays and the verdict is open")
	case ActAnew:
		return l.T("Look again: there are findings since the verdict")
	case ActAsk:
		if m.What == "" {
			return l.T("Say yes to the work")
		}
		return l.T("Say yes to this: %s", lower(m.What))
	case ActMend:
		if m.What == "" {
			return l.T("Mend what was found")
		}
		return Upper(m.What)
	case ActFinish:
		return l.T("Finish the repair")
	case ActProve:
		return l.T("Drive the proof")
	case ActFailed:
		if m.What != "" {
			return l.T("Look again: the proof failed. Next: %s", lower(m.What)+spotIf(m.Spot))
		}
		return l.T("Look again: the proof failed")
	case ActHandOver:
		if m.What != "" {
			return l.T("Hand it over: %s", m.What)
		}
		return l.T("Close the job and hand the car over")
	case ActWeigh:
		return l.T("Carry on with the tests")
	}
	return l.T("Nothing more to do")
}

// SettledSentence is the next act for those in the shop, once the verdict is in force.
func SettledSentence(l *lang.Language, m MoveView) string {
	if m.Act == ActAsk {
		if m.What == "" {
			return l.T("The customer has to say yes")
		}
		return l.T("The customer has to say yes to this: %s", lower(m.What))
	}
	return MoveSentence(l, m)
}

// WhoseWords says who has to act.
func WhoseWords(l *lang.Language, whose string) string {
	switch whose {
	case "writer":
		return l.T("The counter")
	case "technician":
		return l.T("The bay")
	case "owner":
		return l.T("The owner")
	case "customer":
		return l.T("The customer")
	}
	return l.T("Nobody")
}

// WorkWords joins what is to be done.
func WorkWords(parts []string) string { return strings.Join(parts, "; ") }

// OrderWords is an order at its place: "Mend the leak, bank 1".
func OrderWords(l *lang.Language, order string, at Spot) string {
	order = strings.TrimSuffix(order, ".")
	if at.Bank == 0 {
		return order
	}
	return order + ", " + SpotWords(l, at)
}

// FitOrder is the order to fit a sensor.
func FitOrder(l *lang.Language, at Spot) string {
	return l.T("fit a new sensor, %s", SpotWords(l, at))
}

// SinceWords says how long a job has rested.
func SinceWords(l *lang.Language, days int) string {
	switch {
	case days <= 0:
		return l.T("moved today")
	case days == 1:
		return l.T("waiting since yesterday")
	}
	return l.T("waiting for %d days", days)
}
