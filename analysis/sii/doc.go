// Package sii computes the speech intelligibility index of ANSI S3.5-1997
// (R2017), one-third-octave band procedure: how much of the speech's
// importance reaches the listener, 0 (nothing) .. 1 (everything).
//
// # Levels
//
// Every level is an equivalent spectrum level in dB: dB SPL per hertz at the
// middle of the listener's absent head. A third-octave band level becomes one
// by subtracting [BandwidthDB] (or [MaskerBandwidthDB]) exactly once.
//
// # Which function
//
//   - [Index] is the standard as it is written, with every intermediate value;
//   - [IndexMasked] is the same with masker bands from 20 Hz, see below;
//   - [Listener.Hear] gives a [Talker], the same index prepared for one
//     speech spectrum and millions of maskers, without allocation;
//   - [Extended] runs it over short frames: the extended SII.
//
// # Masker energy below 160 Hz
//
// The standard's lowest band is 160 Hz and whatever lies below is ignored
// there. An engine note or a bass line puts much of its power exactly there
// and masks upward. Nine masker bands, 20 to 125 Hz, are therefore put in
// front of the table and enter equation (9) as further terms of its sum, with
// the slope of equation (7) at their own frequency. They have no speech, no
// importance and no self-masking. Without energy in them the result is the
// standard's to the last bit.
//
// This is an extrapolation of the standard, not part of it. It leans to the
// mild side: below 125 Hz a third octave is narrower than the ear's own
// filter, so real slopes per octave are shallower than assumed. What is too
// soft to be heard there needs no special care, because equation (7) makes
// soft maskers so steep that nothing of them arrives at 160 Hz.
//
// # What it does not say
//
// The index is about audibility. Competing voices confuse beyond what it
// predicts; strongly compressed callouts have smaller peaks than the 15 dB it
// assumes, so it then reads slightly high. It is not monotone in the speech
// level: speech more than 10 dB over normal effort loses 0.00625 per dB
// (equation 11).
//
// # Sources
//
// Tables and equations were taken from two open implementations that agree
// (the Apache-2.0 translation of the Müsch code, and the tables of a sound
// quality library), not from the text of the standard. Equation numbers are
// those commonly cited; clause numbers other than 5.1 are from memory.
package sii
