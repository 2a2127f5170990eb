package web

import (
	"slices"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/templates"
)

// Where the states of the engine part in a freeze frame. Common practice, not a standard: a
// warm engine idles below some 1100 rpm (as in a recording, signal.DefaultTrimLimits), and
// from a calculated load of some 70 % on it pulls.
const (
	frameIdleRPM = 1100 // rpm
	frameLoadPct = 70   // per cent of calculated load, PID 04
)

// frameState tells how the engine ran when a freeze frame was kept; empty where its speeds
// leave that open.
func frameState(f obd.FreezeFrame) string {
	rpm, haveRPM := frozen(f, obd.EngineSpeed, 0)
	road, haveRoad := frozen(f, obd.VehicleSpeed, 0)
	load, _ := frozen(f, obd.EngineLoad, 0)
	switch {
	case !haveRPM || rpm == 0:
		return ""
	case road == 0 && rpm < frameIdleRPM:
		return "idle"
	case !haveRoad:
		return ""
	case road == 0:
		return "fast_idle"
	case load >= frameLoadPct:
		return "load"
	}
	return "cruise"
}

// openLoop says that the module did not trim when a freeze frame was kept, as far as the
// frame tells. A fuel system that the car has not got is told as one that is off, so one of
// two may be (from memory of SAE J1979, PID 03).
func openLoop(f obd.FreezeFrame) bool {
	told, closed := false, false
	for _, s := range f.FuelSystem {
		switch s {
		case obd.ClosedLoop, obd.ClosedLoopFault:
			told, closed = true, true
		case obd.FuelOff:
			told = true
		case obd.FuelStatusNotStated:
		default:
			return true
		}
	}
	return told && !closed
}

// frozen finds a value of a freeze frame.
func frozen(f obd.FreezeFrame, q obd.Quantity, bank int) (float64, bool) {
	i := slices.IndexFunc(f.Readings, func(r obd.Reading) bool { return r.Quantity == q && r.Bank == bank })
	if i < 0 {
		return 0, false
	}
	return f.Readings[i].Value, true
}

// frameTrims are the trims of a freeze frame, and why they cannot be taken over.
func frameTrims(f obd.FreezeFrame) (out []diag.Entry, cannot string) {
	state := frameState(f)
	switch {
	case openLoop(f):
		cannot = templates.FrameOpenLoop
	case state == "":
		cannot = templates.FrameNoSpeed
	}
	for bank := 1; bank <= 4; bank++ {
		e := diag.Entry{Kind: diag.KindTrim, Bank: bank, State: state, Frame: true}
		if v, ok := frozen(f, obd.ShortTrim, bank); ok {
			e.ShortPct = &v
		}
		if v, ok := frozen(f, obd.LongTrim, bank); ok {
			e.LongPct = &v
		}
		if e.ShortPct != nil || e.LongPct != nil {
			out = append(out, e)
		}
	}
	return out, cannot
}
