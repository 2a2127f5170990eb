package templates

import (
	"strings"

	"crosscount/templates/lang"
)

// Expect says what a sound sensor of a kind shows in a test. Empty: the test's own
// words hold for every kind. The figures are common practice, no source, but where one
// stands beside them.
func Expect(l *lang.Language, test, kind string, wires, position int) string {
	heated := wires >= 3
	shellGround := kind == "zirconia" && (wires == 1 || wires == 3)
	var out string
	switch test {
	case "signal_capture":
		switch {
		case kind == "wide_range":
			out = "Steady near lambda 1, pump current near 0 mA. It does not switch: counting crossings says nothing. Read lambda or current from the scan tool."
		case kind == "titania":
			out = "Swings between the two ends of the module's own reference, 1 V or 5 V. The 0.45 V rule does not hold here."
		case position == 1:
			out = "0.1 to 0.9 V at 2500 rpm, at least about 0.5 cycles a second through 0.45 V, 300 to 600 mV each way in under about 100 ms."
		default:
			out = "Steady near 0.6 to 0.7 V, far slower than the one in front. As lively as the front one: look at the converter and for an exhaust leak."
		}
		if out = l.T(out); !heated {
			out += " " + l.T("No heater: let it warm at 2500 rpm for some minutes; it cools down at idle.")
		}
		return out
	case "forced_rich":
		switch kind {
		case "zirconia":
			out = "Above 0.8 V within about 100 ms. A sound cell cannot pass 1.1 V."
		case "titania":
			out = "Goes to its rich end at once; which end that is depends on the module."
		default:
			out = "Lambda falls below 1 and the pump current turns negative at once."
		}
	case "forced_lean":
		switch kind {
		case "zirconia":
			out = "Below 0.2 V within about 100 ms, never below zero."
		case "titania":
			out = "Goes to its lean end at once; which end that is depends on the module."
		default:
			out = "Lambda rises above 1 and the pump current turns positive at once."
		}
	case "heater_resistance", "heater_supply", "heater_current":
		switch {
		case wires == 1:
			out = "This sensor has 1 wire and no heater: the test does not apply."
		case !heated:
			return l.T("This sensor has %d wires and no heater: the test does not apply.", wires)
		}
	case "signal_circuit":
		if shellGround {
			out = "Its signal ground is the shell: from shell to battery ground under 50 mV with the engine running. Rust or a poor exhaust ground counts as a fault here."
		}
	case "rear_activity":
		if kind == "wide_range" {
			out = "A wide-range sensor does not switch: compare measured lambda instead of counting crossings."
		}
	}
	return l.T(out)
}

// MakerRange adds what the shop entered from the maker's data.
func MakerRange(l *lang.Language, low, high, unit, source string) string {
	return l.T("The maker says %s to %s\u00a0%s (%s).", low, high, unit, source)
}

// UsualMinutes says what a test took here,
// and how much that counts for in the estimate beside the model's figure.
func UsualMinutes(l *lang.Language, times int, median, ninety string, model int) string {
	done := l.T("Done here once before: %s.", median)
	if times != 1 {
		done = l.T("Done here %d times: usually %s, nine in ten within %s.", times, median, ninety)
	}
	return done + " " + l.T("The estimate weighs this %d to %d against the general figure.", times, model)
}

// AsideReasons are the usual reasons why a test cannot be done here.
var AsideReasons = []string{"The tool is not here", "It cannot be reached", "It is not safe here", "No second person", "The customer has not agreed"}

// TipNext says what to look for next after a look.
func TipNext(look string) string {
	switch look {
	case "clean":
		return "The tip clears neither the cell nor its wiring: judge the sensor by its signal."
	case "white":
		return "Ask which sealant was used and when. Powder from silicone does not burn off: the sensor is spoilt, and so is the next one if the sealant still gives off vapour."
	case "green":
		return "Look for coolant loss and combustion gas in the coolant before any part is fitted."
	case "sooty":
		return "Look for what ran rich: leaking injector, fuel pressure, purge valve, misfire. Soot often burns off once that is mended."
	case "oily":
		return "Oil use, breather, turbo, guides; or oil from outside that crept along the cable. Mend that first."
	case "damaged":
		return "Ask what hit or dropped it. Look for a loose shield, a rattling exhaust, and water on a hot sensor. A dropped sensor is scrap."
	}
	return ""
}

// RemovalGuide is how a sensor comes out. Common practice, no source.
func RemovalGuide(position, wires int, hasThread bool) []Guide {
	gs := []Guide{
		{"Hot exhaust burns. Work warm, not hot, with gloves: a warm thread turns, a cold one tears and a hot one burns you.", true},
		{"On the lift: check the seat of the car before going under it. Stands under it when it is jacked up.", true},
		{"Battery and ignition off before the connector is opened. Unlatch it, do not pull on the wires.", false},
		{"Penetrating oil on the thread only, with the engine cold, never into the shield of the sensor; wait. Oil on a hot exhaust burns.", true},
		{"A slotted oxygen-sensor socket or a ring spanner of the right size, flat on the hexagon. No impact tool: it cracks the element and tears the thread.", false},
	}
	if position == 1 {
		gs = append(gs, Guide{"Ahead of the converter: mostly reached from above. Heat shields are sharp, and the manifold keeps its heat longest.", false})
	} else {
		gs = append(gs, Guide{"Behind the converter: reached from below. The converter stays hotter than the pipe for the better part of an hour.", true})
	}
	return append(gs,
		Guide{"If it stops turning, go back and forth with oil, not on with force. Clean the thread with a tap of the maker's size, turned by hand.", false},
		Guide{"Look at the tip at once and take a photo: what is on it says what killed it.", false},
		Guide{"If it is to go back in, lay it down clean and dry. One that was dropped is scrap, however sound it looks.", false})
}

// FittingGuide is how a sensor goes in. Common practice, no source.
func FittingGuide(position, wires int) []Guide {
	gs := []Guide{
		{"First mend what killed the old one. Otherwise the new one dies of it too.", false},
		{"Compare kind, connector, cable length and position with the old one. Front and rear sensors look alike and are not the same.", false},
		{"Dropped on the floor is scrap, new or not.", false},
		{"Only what the maker of the sensor put on the thread, or a compound marked safe for oxygen sensors, on the thread only. Nothing on the tip.", false},
		{"Only sealants marked sensor-safe anywhere on this engine. Silicone vapour spoils the new sensor within hours.", false},
		{"No grease, no spray and no sealant in the connector: many sensors breathe their reference air through it and the wires.", false},
	}
	if wires == 1 || wires == 3 {
		gs = append(gs, Guide{"This one may use its shell as signal ground: bare, clean thread and seat, no sealing tape.", false})
	}
	return append(gs,
		Guide{"By hand to the stop, then to the maker's torque. Turn the cable with it so that it ends without a twist.", false},
		Guide{"Clip the cable where it was, clear of exhaust, fans and shafts, with slack for the engine's movement.", false},
		Guide{"Carbon monoxide: run the engine with extraction, and listen for a leak at the new thread.", true})
}

// ProofGuide is the proof drive with its list. The monitors are those of SAE J1979.
func ProofGuide() []Guide {
	return []Guide{
		{"A second person reads; the driver drives and obeys traffic law.", true},
		{"Before: clear no codes you have not written down. Fuel between a quarter and three quarters, engine cold for the evaporative monitor.", false},
		{"Monitors ready: misfire, fuel system, components.", false},
		{"Monitors ready: converter, oxygen sensor, oxygen sensor heater.", false},
		{"Monitors ready where fitted: exhaust recirculation, evaporative system, secondary air.", false},
		{"No code stored or pending afterwards; short plus long trim near zero on each bank at idle, cruise and load.", false},
		{"A steady drive at part load, several long overruns without fuel, idle at the end.", false},
	}
}

// AsideDone joins a reason with the words beside it.
func AsideDone(why, other string) string { return strings.TrimSpace(why + " " + other) }
