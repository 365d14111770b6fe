// Package fidelity says in numbers whether a rendered engine note is true to
// the recordings it was made from.
//
// It knows nothing of how the note was made and tracks no revs itself. It is
// given the sound, the revs that were asked for (or, for a recording, its
// track), and the cylinder layout. From these it makes a Take: mono samples
// with the crank phase at each of them. Every measure compares Takes:
//
//	OrderError   frequency and drift of the firing orders against the request
//	Clicks       prediction residual against the sources' own
//	Tremor       envelope modulation in ERB bands, render minus source
//	LevelStep    level step between neighbouring cycles
//	Repetition   correlation of what differs from cycle to cycle
//	CheckGrains  the same question asked of a log of grains
//	Colour       ERB-band log-spectral distance, beside its split-half floor
//	STFT         multi-resolution spectral distance, for the report only
//	HalfOrders   level of the orders between the firings
//	FormantHold  whether resonances stay while the revs move
//
// FrozenLoop and PlainResample make two poor notes from the same recordings,
// so that each figure can be read beside what no skill at all would reach.
// Evaluate gathers all of it into a Report.
//
// What cannot be measured is NaN (an absent row in a Report), never a guess.
// All functions are deterministic; where random picks are needed the seed is
// fixed.
//
// Three things the measures cannot see. Phase slope is blind to a note whose
// revs are wrong by a whole factor of two, because its lines fall on orders
// of the request; HalfOrders and Colour show that. The one-sided tremor
// target is met by any note that is too steady; Repetition shows that. And a
// click louder than the sources' own loudest at the same revs is needed to be
// told from an engine's pulses; quieter ones are passed.
package fidelity
