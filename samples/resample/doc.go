// Package resample converts the sample rate of a sound with one linear-phase
// low-pass filter: a windowed sinc (Kaiser window), evaluated only where an
// output frame is wanted (polyphase).
//
// Why own code: the general resampler at hand in the Go ecosystem (beep/v2,
// Lagrange through 2·quality points) has no low-pass at all. Measured with it
// at its usual quality 4, 44.1 to 48 kHz, sine fit: 48 dB at 10 kHz, 23 dB at
// 15 kHz, 12.5 dB at 18 kHz; a 23 kHz tone taken from 48 to 44.1 kHz comes
// back as an alias only 5 to 7 dB down. That passes a check at 1 kHz and ruins
// a cymbal. The tests of this package therefore measure 1, 10, 15 and 18 kHz
// and an alias.
//
// # Filter
//
// With T in input samples, the impulse response is
//
//	h(t) = 2·fc·sinc(2·fc·t) · I0(β·√(1-(t/T)²)) / I0(β),  |t| < T
//
// where fc is the middle of the transition band in cycles per input sample.
// β and T follow Kaiser's formulas for the wanted attenuation A in dB and the
// transition width Δf in cycles per input sample (J. F. Kaiser, 1974; Oppenheim
// and Schafer, Discrete-Time Signal Processing, section 7.5.3):
//
//	β = 0.1102·(A-8.7)           (A > 50)
//	2·T = (A-7.95) / (14.36·Δf)
//
// The transition lies wholly below the lower of the two Nyquist frequencies:
// nothing folds back into the band that is kept. With the default Options it
// starts at 0.907 of it, 20 kHz of 22.05, and the stop band is 120 dB down.
//
// # Rates
//
// The ratio to/from is reduced to L/M. If a table with L phases is small
// enough (about 4 MB), every phase has its own row and positions are exact.
// Otherwise (44100 to 47999) there are about 2048 rows and the two neighbours
// are blended linearly, which costs twice the time and keeps its error under
// (π/2048)²/8, -130 dB.
//
// # Time
//
// Output frame n lies at input time n·M/L: the delay of the filter is taken
// out, as if the input were surrounded by silence. k input frames give
// round(k·to/from) output frames. Results do not depend on how a stream is cut
// into blocks, to the last bit, on one kind of processor; different processor
// families may differ in the last bits (fused multiply-add).
package resample
