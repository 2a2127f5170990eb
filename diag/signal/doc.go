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
// Measure reads a table once: extremes, mean, the histogram and all that rests on
// fixed thresholds as the rows pass, keeping aside the samples near the 10 % and
// 90 % levels, which the histogram fixes only at the end. Where those could not be
// foreseen it reads the table a second time. Either way it holds a few blocks of
// rows, counters of fixed size and a bounded set of samples, however long the
// recording.
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
