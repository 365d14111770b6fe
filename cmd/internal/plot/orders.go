package plot

import (
	"fmt"
	"math"
	"strconv"

	"tachbench/samples/crank"
)

// Order is an engine order to draw, counted per revolution.
type Order struct {
	Order float64 // > 0
	Label string  // written at the end of its line
}

// strong is the share of an order that must be left by the firing angles for
// it to be worth a line (see crank.Layout.OrderAmplitude).
const strong = 0.5

// OrdersOf picks up to four orders that an engine of this layout really
// sounds: those nearest to the engine cycle, the firing rate, and twice and
// four times the firing rate. An order that the firing angles cancel is
// passed over, because a line over nothing looks like a wrong note.
func OrdersOf(l crank.Layout) []Order {
	cycle, firing := 1/l.RevsPerCycle(), l.FiringOrder()
	var out []Order
	for _, want := range []float64{firing, cycle, 2 * firing, 4 * firing} {
		o, ok := nearestStrong(l, want, cycle)
		if ok && !has(out, o) {
			out = append(out, Order{o, orderLabel(o, cycle, firing)})
		}
	}
	return out
}

// nearestStrong looks for the order nearest to want on the grid of the
// engine cycle, the higher one of two equally near.
func nearestStrong(l crank.Layout, want, cycle float64) (float64, bool) {
	for step := 0.0; step <= 2*want+4*cycle; step += cycle {
		for _, o := range []float64{want + step, want - step} {
			if o > cycle/2 && l.OrderAmplitude(o) >= strong {
				return o, true
			}
		}
	}
	return 0, false
}

func has(list []Order, o float64) bool {
	for _, have := range list {
		if math.Abs(have.Order-o) < 1e-9 {
			return true
		}
	}
	return false
}

func orderLabel(o, cycle, firing float64) string {
	s := "order " + strconv.FormatFloat(o, 'f', -1, 64)
	switch o {
	case firing:
		return s + " – firing"
	case cycle:
		return s + " – cycle"
	}
	if m := o / firing; m == math.Trunc(m) {
		return fmt.Sprintf("%s – %g × firing", s, m)
	}
	return s
}
