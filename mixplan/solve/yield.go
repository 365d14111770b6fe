package solve

import (
	"math"

	"tachbench/analysis/band"
	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/ear"
	"tachbench/samples"
)

// dearness is what a dB² of a category costs.
func dearness(category string) float64 {
	switch category {
	case "music":
		return 1
	case mixplan.Engine:
		return 4
	}
	return 2
}

// deepest is how far a category may yield.
func deepest(category string) float64 {
	if category == mixplan.Engine {
		return mixplan.MaxEngineDepthDB
	}
	return mixplan.MaxDepthDB
}

// bandPoints is how many places of a third octave a dip is averaged over.
const bandPoints = 5

// bandGainDB returns the mean power gain of a dip in a band.
func bandGainDB(rateHz int, d mixplan.Dip, deepestDB, depthDB float64, b int) float64 {
	lo, hi := ear.EdgesHz(b)
	sum := 0.0
	for i := range bandPoints {
		hz := lo * math.Pow(hi/lo, (float64(i)+0.5)/bandPoints)
		if hz >= float64(rateHz)/2 {
			hz = 0.499 * float64(rateHz)
		}
		sum += samples.DBPower(duck.ResponseDB(rateHz, d, deepestDB, depthDB, hz))
	}
	return samples.PowerDB(sum / bandPoints)
}

// gainsDB returns the gain of each band at the ear while a duck stands at
// depthDB; dip nil is all frequencies.
func gainsDB(rateHz int, dip *mixplan.Dip, deepestDB, depthDB float64) (g ear.Levels) {
	for b := range g {
		if g[b] = -depthDB; dip != nil {
			g[b] = bandGainDB(rateHz, *dip, deepestDB, depthDB, b)
		}
	}
	return g
}

// maskerGains is gainsDB as power gains for the index.
func maskerGains(g ear.Levels) (m sii.Masker) {
	for k := range m {
		m[k] = samples.DBPower(g[k])
	}
	return m
}

// weightDB is the A weighting of each band.
var weightDB = func() (w ear.Levels) {
	for b := range w {
		w[b] = band.AWeightDB(ear.MidHz(b))
	}
	return w
}()

// halving is log10(2): the exponent at which 10 dB everywhere halve loudness.
const halving = 0.30103

// lossDB returns by how many dB of loudness level a spectrum falls under
// gains; 0 for silence.
func lossDB(spectrum, gains ear.Levels) float64 {
	before, after := 0.0, 0.0
	for b, l := range spectrum {
		if math.IsInf(l, -1) {
			continue
		}
		before += math.Pow(samples.DBPower(l+weightDB[b]), halving)
		after += math.Pow(samples.DBPower(l+weightDB[b]+gains[b]), halving)
	}
	if before == 0 {
		return 0
	}
	return math.Max(0, -10*math.Log2(after/before))
}
