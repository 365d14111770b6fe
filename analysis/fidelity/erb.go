package fidelity

import "math"

// ERB returns the equivalent rectangular bandwidth in Hz of the auditory
// filter at hz: 24.7·(4.37·f/1000 + 1). Glasberg & Moore 1990.
func ERB(hz float64) float64 { return 24.7 * (4.37*hz/1000 + 1) }

// ERBNumber returns the place of hz on the ERB-number scale,
// 21.4·log10(4.37·f/1000 + 1). Glasberg & Moore 1990.
func ERBNumber(hz float64) float64 { return 21.4 * math.Log10(4.37*hz/1000+1) }

// ERBHz is the inverse of ERBNumber.
func ERBHz(number float64) float64 { return (math.Pow(10, number/21.4) - 1) * 1000 / 4.37 }

const (
	lowestBandHz  = 50.0
	highestBandHz = 8000.0
)

// erbCentres returns band centres one ERB apart from 50 Hz up to 8 kHz, or
// up to what the sample rate carries.
func erbCentres(rateHz int) []float64 {
	var out []float64
	for e := ERBNumber(lowestBandHz); ; e++ {
		hz := ERBHz(e)
		if hz > highestBandHz || ERBHz(e+1) > float64(rateHz)/2 {
			return out
		}
		out = append(out, hz)
	}
}
