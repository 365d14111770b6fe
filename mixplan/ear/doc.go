// Package ear takes sound from the file to the player's ear: from dB re full
// scale through the cabinet speaker to dB SPL, band by band, together with the
// noise of the hall; and in the time domain, so that both can be heard on
// headphones.
//
// # Calibration
//
// One number ties the two scales: level_at_ear_db of the sound sheet, the dB
// SPL at the player's ear for pink noise at -20 dBFS RMS through the cabinet.
// Pink noise means equal power in each third octave from 20 Hz to 20 kHz, 31
// bands; dB SPL means the unweighted (Z) level. Full scale is RMS: a full-scale
// sine is -3.01 dBFS here, as everywhere in this project. [Chain.PinkAtEar]
// gives the same noise in dBA and dBC, for a meter without Z weighting.
//
// The sound is taken to be mono as the one speaker plays it; fold with
// samples.Sound.Mono first.
//
// # Cabinet
//
// speaker_response is read straight between its points in dB over log
// frequency; beyond its ends the last value holds. speaker_low_cut_hz is a
// second-order Butterworth high-pass, 12 dB an octave and -3.01 dB at the
// cut-off: a speaker in a closed box. A ported box falls with 24 dB an octave
// below its tuning; describe it with a response. With both given, the response
// rules from its lowest point upwards, and below that point it falls on as the
// low cut does. With neither the cabinet is flat, which is said in
// [Chain.Assumed] because it lets low notes mask that no small speaker plays.
// The gain of a band is the mean of |H|² over the band's log frequency.
//
// Only the shape of a response matters: level_at_ear_db fixes the level.
//
// # Hall
//
// noise_dba is scaled to be the A-weighted sum of the 18 bands from 160 Hz to
// 8 kHz. Shapes: crowd is the loud-speech spectrum of ANSI S3.5 Table 3; pink
// has equal power in every band; flat has equal power per hertz, which rises 1
// dB a band (3 dB an octave); 18 offsets are band levels relative to each
// other. There is no hall noise outside these bands: nobody said what it would
// be. No published spectrum of an arcade is known to us; Mirbod (1992) found
// the strongest bands between 0.5 and 2 kHz.
package ear
