// Package speech measures how loud the voice in a callout is while it speaks,
// and how noisy the recording is while it does not.
//
// # Active speech level
//
// After ITU-T P.56, method B, from memory of the Recommendation and not checked
// against its text: an envelope from two equal exponential averages of the
// rectified sound (time constant 30 ms), thresholds 6.02 dB apart, a hangover
// of 200 ms that keeps short pauses active, and as the answer the level at
// which the mean over the active time stands the margin of 15.9 dB over its
// threshold, interpolated between the two nearest thresholds. Level and
// activity are tied by
//
//	active level = long-term level + 10·log10(1/activity).
//
// No band filter is put before it; P.56 leaves that to the user. Levels are dB
// re a mean square of 1, so a full-scale sine reads -3.01 dB.
//
// # Noise floor
//
// Our own rule, no standard: among the 20 ms frames that lie at least the same
// margin of 15.9 dB under the active level, the power mean of the quieter half.
// Steady noise reads about 0.4 dB low at 8 kHz for that, tails of words do not
// get in. Frames under -120 dB are digital silence, not noise, and do not
// count. There is no reading if the pauses together are shorter than 0.2 s.
package speech
