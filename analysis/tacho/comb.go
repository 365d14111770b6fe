package tacho

import (
	"math"

	"tachbench/samples/crank"
)

// A tooth is one place of the comb, in multiples of the engine cycle rate,
// and how much a line there speaks for (pro) or against (contra) the revs.
type tooth struct {
	multiple    float64
	pro, contra float64
}

// comb returns the teeth for a layout. Orders the layout has count for it by
// their power share. Orders it lacks count against, mildly, because real
// cylinders differ. Places half way between two possible orders count
// against in full: nothing of a steadily running engine lies there.
func comb(l crank.Layout) []tooth {
	cycles := max(24, 5*l.Cylinders)
	var teeth []tooth
	for m := 1; m <= 2*cycles; m++ {
		mult := float64(m) / 2
		// Higher harmonics suffer more from smear and hiss.
		fade := 1 / (1 + mult/float64(max(8, 2*l.Cylinders)))
		t := tooth{multiple: mult}
		if m%2 == 1 {
			t.contra = fade
		} else {
			a := l.OrderAmplitude(mult / l.RevsPerCycle())
			t.pro = a * a * fade
			t.contra = 0.5 * (1 - a*a) * fade
		}
		if t.pro < 1e-9 {
			t.pro = 0
		}
		if t.contra < 1e-9 {
			t.contra = 0
		}
		teeth = append(teeth, t)
	}
	return teeth
}

// grid is the log-spaced axis of RPM candidates. The log-frequency axis of
// the spectra has the same step, so that a tooth is a constant offset.
type grid struct {
	logStep float64
	minRPM  float64
	n       int
}

func newGrid(minRPM, maxRPM float64) grid {
	g := grid{logStep: 0.005, minRPM: minRPM}
	g.n = int(math.Ceil(math.Log(maxRPM/minRPM)/g.logStep)) + 1
	return g
}

// rpm returns the revs at a (fractional) place on the grid.
func (g grid) rpm(at float64) float64 { return g.minRPM * math.Exp(at*g.logStep) }

// place returns the fractional place of rpm on the grid.
func (g grid) place(rpm float64) float64 { return math.Log(rpm/g.minRPM) / g.logStep }
