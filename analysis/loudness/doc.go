// Package loudness measures how loud sound is heard to be: a streaming meter
// after ITU-R BS.1770-5 (11/2023), EBU Tech 3341 v4 and EBU Tech 3342 v4 (both
// November 2023).
//
// # What it reports
//
//   - integrated loudness: 400 ms blocks every 100 ms, absolute gate at
//     -70 LUFS, relative gate 10 LU under the mean of what passes (BS.1770-5
//     Annex 1);
//   - maximum momentary (0.4 s) and short-term (3 s) loudness, both stepped by
//     10 ms from the first sample. The 100 ms step of the gating blocks would
//     miss a 400 ms tone by up to 0.45 LU (Tech 3341 case 13);
//   - loudness range from short-term values every 100 ms (Tech 3342 section 5).
//
// A mono file counts once. Nothing is normalised, padded or guessed: what is
// too short or too quiet comes back as an absent [Reading] with the reason.
//
// # Grid
//
// Step k ends at sample round(k·rate/100), so the grid does not drift at rates
// that 100 does not divide; a window is 400 ms "to the nearest sample" there,
// and its mean is taken over the samples it really holds. An incomplete last
// window is dropped. Results do not depend on how the sound is cut into blocks,
// to the last bit.
//
// # Filter at other rates
//
// BS.1770-5 gives coefficients for 48 kHz only and asks for "the same
// frequency response" elsewhere. Both stages are re-derived with the bilinear
// transform from their analogue prototype. The numerator of the second stage
// stays [1, -2, 1] at every rate, as the 48 kHz table prints it and as
// libebur128 and most other meters do, although the scaled form
// d(48000)/d(rate)·[1, -2, 1] would keep the 48 kHz gain at low frequencies.
// The reason is agreement: a reading is compared with what others read. The
// price against the 48 kHz response at 1 kHz is +0.003 dB at 44.1 kHz,
// -0.017 dB at 96 kHz and -0.027 dB at 192 kHz. At low rates the bilinear
// transform itself bends the shelf: at 8 kHz this filter is 0.01 to 0.43 dB
// high, depending on frequency (the scaled form would be -0.2 to +0.2 dB off).
//
// # Broken samples
//
// NaN, infinities and magnitudes over [samples.MaxMagnitude] are measured as
// silence and counted in [Result.Unusable].
//
// # Cost
//
// Memory grows only by a history of 8 bytes per 100 ms, 576 kB for two hours,
// whatever the channel count; the exact gates and the percentiles of the
// loudness range need it, and the charts are drawn from it.
package loudness
