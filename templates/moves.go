package templates

import "strings"

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
func MoveSentence(m MoveView) string {
	car := m.Car
	at := ""
	if m.Spot != "" {
		at = ", " + m.Spot
	}
	switch m.Act {
	case ActLayout:
		return "Look where the sensors of the " + car + " sit"
	case ActRead:
		return "Read the codes of the " + car
	case ActTest:
		return m.What + at
	case ActVerdict:
		switch m.Decision {
		case "part":
			return "Look over the verdict: a part, " + m.What
		default:
			return "Look over the verdict: no part"
		}
	case ActStuck:
		return "Decide: no further test pays and the verdict is open"
	case ActAnew:
		return "Look again: there are findings since the verdict"
	case ActAsk:
		if m.What == "" {
			return "Say yes to the work"
		}
		return "Say yes to this: " + lower(m.What)
	case ActMend:
		if m.What == "" {
			return "Mend what was found"
		}
		return Upper(m.What)
	case ActFinish:
		return "Finish the repair"
	case ActProve:
		return "Drive the proof"
	case ActFailed:
		return "Look again: the proof failed"
	case ActHandOver:
		if m.What != "" {
			return "Hand it over: " + m.What
		}
		return "Close the job and hand the car over"
	case ActWeigh:
		return "Carry on with the tests"
	}
	return "Nothing more to do"
}

// SettledSentence is the next act for those in the shop, once the verdict is in force.
func SettledSentence(m MoveView) string {
	if m.Act == ActAsk {
		if m.What == "" {
			return "The customer has to say yes"
		}
		return "The customer has to say yes to this: " + lower(m.What)
	}
	return MoveSentence(m)
}

// WhoseWords says who has to act.
func WhoseWords(whose string) string {
	switch whose {
	case "writer":
		return "The counter"
	case "technician":
		return "The bay"
	case "owner":
		return "The owner"
	case "customer":
		return "The customer"
	}
	return "Nobody"
}

// WorkWords joins what is to be done.
func WorkWords(parts []string) string { return strings.Join(parts, "; ") }

// OrderWords is an order at its place: "Mend the leak, bank 1".
func OrderWords(order string, at Spot) string {
	order = strings.TrimSuffix(order, ".")
	if at.Bank == 0 {
		return order
	}
	return order + ", " + SpotWords(at)
}

// FitOrder is the order to fit a sensor.
func FitOrder(at Spot) string { return "fit a new sensor, " + SpotWords(at) }

// SinceWords says how long a job has rested.
func SinceWords(days int) string {
	switch {
	case days <= 0:
		return "moved today"
	case days == 1:
		return "waiting since yesterday"
	}
	return "waiting for " + itoa(int64(days)) + " days"
}
