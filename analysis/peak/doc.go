// Package peak measures the extremes and the plain averages of each channel:
// sample peak, true peak after ITU-R BS.1770-5 Annex 2, DC, RMS and crest. It
// streams, in constant memory, and every channel counts, LFE too.
//
// # Interpolator
//
// True peak is the largest magnitude of the sound brought to four times its
// rate, at every rate. (BS.1770-5 would be content with 2× at 96 kHz; more is
// "preferred" there, and pruning makes it cheap.) The low-pass is a sinc under a
// Hann window, 49 taps at the fourfold rate, the same that libebur128 uses
// below 96 kHz:
//
//	h[j] = sinc((j-24)/4) · (1 - cos(2πj/48))/2,  j = 0..48
//
// and not the 48-tap example of the Recommendation, because one of its four
// phases is an exact pass-through, so a reading can never be under the sample
// peak, and because readings can be compared with those of others to the last
// digit. Its error on steady sines up to 0.4 of the rate is between -0.44 and
// +0.05 dB, nearly all of it the unavoidable one of a four-fold grid.
//
// DC is kept in. The sound is taken to be silent before its first and after its
// last frame, as it is on a machine, so the ringing at a hard start or end is
// part of the reading.
//
// # Exact pruning
//
// No interpolated value can exceed the largest sample near it times the sum of
// the tap magnitudes (1.87 at most). Stretches of 8 samples, and then single
// gaps, whose bound is under the maximum so far are skipped. The result is the
// same bit for bit as without skipping; only time is saved.
//
// # Broken samples
//
// NaN, infinities and magnitudes over [samples.MaxMagnitude] count as 0 and are
// counted in [Channel.Unusable].
package peak
