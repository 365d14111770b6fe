// Package band says where in the spectrum the sound is: third-octave levels
// after IEC 61260-1 (base 10), A- and C-weighted level after IEC 61672-1, and
// how far up the sound really goes.
//
// # Method
//
// The long-term average spectrum is taken with Fourier transforms of half a
// second to one second (1.3 to 2 Hz a bin), overlapping by half. The window is
// a half sine, whose squares add up to one: every sample counts exactly once, a
// click as much as a hold, and the bins of all frames together hold exactly the
// energy of the sound. A bin that a band edge cuts is split in proportion.
// These are bands with nearly ideal flanks; the filters of a class 1 instrument
// leak more into their neighbours. A tone within 2 Hz of an edge is shared by
// both bands. Silence goes before and after the sound, so a loop that is cut in
// full swing shows the click of its ends.
//
// Levels are dB re a mean square of 1: a full-scale sine reads -3.01 dB.
//
// NaN, infinities and magnitudes over [samples.MaxMagnitude] are taken as 0;
// other meters count them.
package band
