package sii

import "math"

// levelDistortion is equation (11): the loss of speech much louder than
// normal, 0..1. The floor at 0 is ours; the standard has none.
func levelDistortion(speechDB, normalDB float64) float64 {
	return max(0, min(1, 1-(speechDB-normalDB-distortionFreeDB)/distortionSpanDB))
}

// audible is equation (12): the share of the speech's 30 dB range that rises
// over the disturbance, 0..1.
func audible(speechDB, disturbanceDB float64) float64 {
	return max(0, min(1, (speechDB-disturbanceDB+peaksDB)/rangeDB))
}

// slope is equation (7): the upward spread of a masker in dB per octave.
func slope(maskerDB, midHz float64) float64 {
	return slopeBaseDB + slopePerDB*(maskerDB+10*math.Log10(midHz)-slopeBandwidthDB)
}

// spreadDB is the bracket of equation (9): what a masker of the given
// spectrum level and slope leaves at a higher band.
func spreadDB(maskerDB, slopeDB, atHz, midHz float64) float64 {
	return maskerDB + octaves*slopeDB*math.Log10(upperEdge*atHz/midHz)
}

// Speech returns the standard speech spectrum of Table 3 at a distance in
// metres, free field, with an insertion gain per band in dB: equation (16),
// E' = U - 20·log10(d) + G. It panics if distanceM is not positive or effort
// is none of the four.
func Speech(effort Effort, distanceM float64, gainDB Levels) Levels {
	if !(distanceM > 0) {
		panic("sii: Speech: distance must be positive")
	}
	e := standardSpeech[effort]
	for i := range e {
		e[i] += gainDB[i] - 20*math.Log10(distanceM)
	}
	return e
}

// OverallDB returns the sound pressure level of spectrum levels,
// 10·log10 Σ 10^((E+BW)/10), in dB SPL.
func OverallDB(spectrum Levels) float64 {
	var sum float64
	for i, e := range spectrum {
		sum += math.Pow(10, (e+BandwidthDB[i])/10)
	}
	return 10 * math.Log10(sum)
}
