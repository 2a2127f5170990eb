// Package signal turns a recorded table of numbers into measurements: the
// voltage of an oxygen sensor over time, a pair of sensors, a wide-range
// reading, or a log of fuel trims.
//
// # Reading
//
// Any delimited text is read: Sniff guesses what the columns are, the person
// corrects the Mapping, Read streams the rows. Rows that cannot be read are
// reported with their line and how to mend them; the rest is kept, and nothing
// is measured across the hole they leave.
//
// # Measuring
//
// Measure reads the table twice. The first pass finds extremes, the histogram
// and everything that rests on fixed thresholds; the second times the 10-90 %
// transitions, whose thresholds follow from the histogram. Both passes hold a
// few blocks of rows and counters of fixed size, however long the recording.
//
// The definitions follow the vocabulary of IEEE Std 181 / IEC 60469 as it is
// described in public manuals of signal-processing software: state levels are
// the modes of the lower and the upper half of the histogram between its first
// and last filled bin; a transition must leave the boundary of one state and
// enter that of the other, which is hysteresis; instants are found by linear
// interpolation between samples; rise and fall run between the 10 % and 90 %
// reference levels. The 300 mV, 450 mV and 600 mV levels of narrow-band
// zirconia sensors and the limits in Limits are common practice, no source.
//
// # Uncertainty
//
// Every Reading carries its unit, the count it rests on and an uncertainty: the
// half-width of an interval meant to hold the true value in about 95 of 100
// cases. What sampling is too slow to show is refused with the rate that would
// be needed, never guessed.
package signal
