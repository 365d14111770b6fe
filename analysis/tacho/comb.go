package tacho

import (
	"math"

	"tachbench/samples/crank"
)

// A tooth is one place of the comb, in multiples of the engine cycle rate,
// and its weight in each of the groups whose mean levels are compared.
type tooth struct {
	multiple float64
	weight   [groups]float64
}

// The groups of teeth.
const (
	oddOrders  = iota // orders the layout has, odd multiples of its line spacing
	evenOrders        // the same, even multiples
	weakOrders        // orders the layout lacks; real cylinders differ, so lines there are common but lower
	between           // places where a steadily running engine has nothing at all
	groups
)

// comb returns the teeth for a layout. Of the places that should be empty or
// weak, the halves and thirds of the spacing between the strong orders weigh
// most: an engine at half, a third or two thirds of these revs has its own
// strong orders there.
func comb(l crank.Layout) []tooth {
	cycles := max(24, 6*l.Cylinders)
	spacing := lineSpacing(l)
	var teeth []tooth
	for sixth := 2; sixth <= 6*cycles; sixth++ {
		t := tooth{multiple: float64(sixth) / 6}
		half, third := 2*sixth%(6*spacing) == 0, 3*sixth%(6*spacing) == 0
		switch {
		case sixth%6 == 0:
			a := l.OrderAmplitude(t.multiple / l.RevsPerCycle())
			strong := evenOrders
			if sixth/6/spacing%2 == 1 {
				strong = oddOrders
			}
			if a > 0.05 {
				t.weight[strong] = a * a
			}
			if a < 0.95 {
				t.weight[weakOrders] = 1 - a*a
				if half {
					t.weight[weakOrders] *= 2
				}
			}
		case half:
			t.weight[between] = 1
		case third:
			t.weight[between] = 0.7
		case sixth%3 == 0:
			t.weight[between] = 0.4
		default:
			continue
		}
		// Higher harmonics suffer more from smear and hiss.
		for i := range t.weight {
			t.weight[i] /= 1 + t.multiple/float64(max(16, 4*l.Cylinders))
		}
		teeth = append(teeth, t)
	}
	return teeth
}

// lineSpacing returns the largest step, in multiples of the cycle rate, on
// which all the strong orders of the layout lie: the number of cylinders for
// an evenly firing engine, mostly 1 for others.
func lineSpacing(l crank.Layout) int {
	step := 0
	for k := 1; k <= 48; k++ {
		if a := l.OrderAmplitude(float64(k) / l.RevsPerCycle()); a*a > 0.1 {
			step = gcd(k, step)
		}
	}
	return max(step, 1)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
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
