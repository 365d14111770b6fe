package samples

import "math"

// AmplitudeDB converts an amplitude ratio to decibels, 20·log10(a). Zero and
// below give -Inf.
func AmplitudeDB(a float64) float64 {
	if a <= 0 {
		return math.Inf(-1)
	}
	return 20 * math.Log10(a)
}

// PowerDB converts a power ratio to decibels, 10·log10(p). Zero and below
// give -Inf.
func PowerDB(p float64) float64 {
	if p <= 0 {
		return math.Inf(-1)
	}
	return 10 * math.Log10(p)
}

// DBAmplitude converts decibels to an amplitude ratio, 10^(db/20).
func DBAmplitude(db float64) float64 { return math.Pow(10, db/20) }

// DBPower converts decibels to a power ratio, 10^(db/10).
func DBPower(db float64) float64 { return math.Pow(10, db/10) }

// RMS returns the root mean square of x, 0 for an empty slice.
func RMS(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}
