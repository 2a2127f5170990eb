package signal

// SignalEntry holds what a capture gives the case file's "signal" entry. A
// quantity that could not be measured honestly is nil.
type SignalEntry struct {
	Bank        int      // 0 is unknown
	Position    int      // 0 is unknown
	MinV        *float64 // V
	MaxV        *float64 // V
	MeanV       *float64 // V, over time
	CrossingsHz *float64 // full cycles per second
	LeanRichMs  *float64 // median from LeanV to RichV, ms
	RichLeanMs  *float64 // median from RichV to LeanV, ms
}

// Signal answers the channel's signal entry, and false for a channel that is no
// narrow-band voltage.
func (c Channel) Signal() (SignalEntry, bool) {
	if c.Narrow == nil || c.Min.Value == nil {
		return SignalEntry{}, false
	}
	return SignalEntry{Bank: c.Bank, Position: c.Position,
		MinV: c.Min.Value, MaxV: c.Max.Value, MeanV: c.Mean.Value, CrossingsHz: c.Narrow.CyclesHz.Value,
		LeanRichMs: c.Narrow.LeanRich.Median.Value, RichLeanMs: c.Narrow.RichLean.Median.Value}, true
}

// ForcedEntry holds what a capture gives the case file's "forced" entry.
type ForcedEntry struct {
	Bank     int
	Position int
	Mixture  string   // rich or lean
	Volts    *float64 // furthest level reached, V
	Ms       *float64 // from the change to ForcedRich or ForcedLean, ms; nil where it was not reached
	Found    bool     // the change was found in the signal, so Ms lacks the delay before it set off
}

// ForcedEntries answers the channel's forced entries.
func (c Channel) ForcedEntries() []ForcedEntry {
	if c.Narrow == nil {
		return nil
	}
	var out []ForcedEntry
	for _, f := range c.Narrow.Forced {
		out = append(out, ForcedEntry{Bank: c.Bank, Position: c.Position, Mixture: f.Mixture,
			Volts: f.Reached.Value, Ms: f.ToLevel.Value, Found: f.Found})
	}
	return out
}

// TrimEntry holds what a log gives the case file's "trim" entry.
type TrimEntry struct {
	Bank     int
	State    EngineState
	ShortPct *float64 // median, %
	LongPct  *float64 // median, %
}

// Entries answers a trim entry for every bank and state with a median.
func (t Trims) Entries() []TrimEntry {
	var out []TrimEntry
	for _, s := range t.States {
		if s.Short.Value != nil || s.Long.Value != nil {
			out = append(out, TrimEntry{Bank: s.Bank, State: s.State, ShortPct: s.Short.Value, LongPct: s.Long.Value})
		}
	}
	return out
}
