// Package tacho reads the revs of an engine from a recording: RPM, crank
// phase and a confidence at regular times.
//
// How it goes, one file a step:
//
//	prepare     mono, about 6 kHz, plus the envelope of the upper band (it
//	            carries the firing rhythm even where a small microphone has
//	            cut the low orders)
//	emission    short spectra on a log-frequency axis, each taken with the
//	            window's time warped by several rates of change so that
//	            ramps do not smear; a comb weighted by the layout's orders
//	            scores every RPM on a fine grid. Lines where the layout has
//	            none, and lines in between, count against: that is what
//	            tells the true revs from twice or half of them
//	path        the best way through time (Viterbi), with a limit on how
//	            fast revs move; octave alternatives stay alive until the end
//	refine      the recording is demodulated at the orders of the path; the
//	            phase slopes of all strong orders together correct it, three
//	            times over, until the crank phase is good enough to cut
//	            single cycles
//	confidence  how far the power on the orders stands above the power
//	            between them; revs are absent where it does not
//
// For an engine whose cylinders fire evenly and sound exactly alike nothing
// in the sound tells one firing from the next. RPM still follows from the
// layout; the phase then starts at an arbitrary firing, but keeps to it all
// through a stretch.
//
// What cannot be told apart by ear cannot be told apart here: a mains hum
// with many harmonics, or a held vowel, is a periodic sound and will be
// tracked as an engine if it lies in the RPM range asked for. Range hints
// are the cure.
package tacho
