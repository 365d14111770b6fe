package crank_test

import (
	"fmt"
	"math"
	"testing"

	"tachbench/samples/crank"
)

// Layouts as the handbooks name them; firing angles in crank degrees of one
// engine cycle.
var (
	single     = crank.Layout{Cylinders: 1, Strokes: 4}
	twin360    = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 360}}
	twin180    = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 180}}
	twin270    = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 270}}
	vTwin315   = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}
	triple     = crank.Layout{Cylinders: 3, Strokes: 4}
	four       = crank.Layout{Cylinders: 4, Strokes: 4}
	six        = crank.Layout{Cylinders: 6, Strokes: 4}
	eight      = crank.Layout{Cylinders: 8, Strokes: 4}
	ten        = crank.Layout{Cylinders: 10, Strokes: 4}
	crossBank  = crank.Layout{Cylinders: 4, Strokes: 4, Firing: []float64{0, 270, 450, 540}}
	twoSingle  = crank.Layout{Cylinders: 1, Strokes: 2}
	twoTwin180 = crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}}
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// Firing rate (N/60)·C/(S/2): the textbook formula. The six at 1800 RPM
// (90 Hz, "third order") is a published worked example of a trade explainer
// on engine note; the others follow from the formula by hand.
func TestFiringHz(t *testing.T) {
	for _, c := range []struct {
		what      string
		layout    crank.Layout
		rpm, want float64
		tol       float64
	}{
		{"four-stroke four at 3000", four, 3000, 100, 1e-9},
		{"four-stroke single at 1200", single, 1200, 10, 1e-9},
		{"four-stroke six at 1800", six, 1800, 90, 1e-9},
		{"four-stroke eight at 800", eight, 800, 53.3333, 1e-4},
		{"four-stroke triple at 9000", triple, 9000, 225, 1e-9},
		{"two-stroke single at 9000", twoSingle, 9000, 150, 1e-9},
		{"two-stroke twin at 8000", twoTwin180, 8000, 266.6667, 1e-4},
		{"four-stroke ten at 18000", ten, 18000, 1500, 1e-9},
	} {
		near(t, c.what, c.layout.FiringHz(c.rpm), c.want, c.tol)
	}
}

// Cycle rate of a four-stroke, N/120: the definition (one cycle is two turns).
func TestCycleHz(t *testing.T) {
	near(t, "four-stroke at 900", four.CycleHz(900), 7.5, 1e-9)
	near(t, "back", four.RPM(7.5), 900, 1e-9)
	near(t, "samples of a cycle at 600 RPM, 48 kHz", 48000/single.CycleHz(600), 9600, 0)
	near(t, "two-stroke at 900", twoSingle.CycleHz(900), 15, 1e-9)
	near(t, "back", twoSingle.RPM(15), 900, 1e-9)
}

// A crank turns 6·N degrees a second.
func TestGapsOfTheVTwin(t *testing.T) {
	a := vTwin315.Angles()
	perS := 6 * 800.0
	near(t, "first gap", (a[1]-a[0])/perS, 0.065625, 1e-6)
	near(t, "second gap", (a[0]+vTwin315.CycleDegrees()-a[1])/perS, 0.084375, 1e-6)
}

// |Σ exp(-j·o·θ)|/n written out by hand for each layout, e.g. for a twin with
// gap g: |cos(o·g/2)|. The big-bang layouts' gaps are the published ones
// (180-540, 270-450); 315-405 follows from a 45 degree V on one pin.
func TestOrderAmplitude(t *testing.T) {
	for _, c := range []struct {
		what        string
		layout      crank.Layout
		order, want float64
		tol         float64
	}{
		{"270-450 twin", twin270, 2, 0, 1e-12},
		{"270-450 twin", twin270, 1.5, 0.9239, 1e-4},
		{"180-540 twin", twin180, 1, 0, 1e-4},
		{"180-540 twin", twin180, 0.5, 0.7071, 1e-4},
		{"360 twin", twin360, 1.5, 0, 1e-12},
		{"cross-plane bank", crossBank, 2, 0, 1e-9},
		{"cross-plane bank", crossBank, 4, 1, 1e-9},
		{"315-405 twin", vTwin315, 0.5, 0.1951, 1e-4},
		{"315-405 twin", vTwin315, 1, 0.9239, 1e-4},
		{"315-405 twin, |cos(4.5·157.5°)|", vTwin315, 4.5, math.Abs(math.Cos(4.5 * 157.5 * math.Pi / 180)), 1e-12},
		{"even four, firing order", four, 2, 1, 1e-12},
		{"even four, first order", four, 1, 0, 1e-12},
		{"single, half order", single, 0.5, 1, 1e-12},
	} {
		near(t, fmt.Sprintf("%s, order %g", c.what, c.order), c.layout.OrderAmplitude(c.order), c.want, c.tol)
	}
}

// Orders are multiples of N/60 by definition; firing order is C/(S/2).
func TestOrders(t *testing.T) {
	near(t, "order 4.5 at 4000", crank.OrderHz(4.5, 4000), 300, 1e-9)
	near(t, "firing order of a four-stroke four", four.FiringOrder(), 2, 0)
	near(t, "firing order of a four-stroke six", six.FiringOrder(), 3, 0)
	near(t, "firing order of a two-stroke twin", twoTwin180.FiringOrder(), 2, 0)
}

// Counting cycles: ∫N/120 dt, by hand.
func TestCyclesOverTime(t *testing.T) {
	near(t, "60 s at 1500", 60*four.CycleHz(1500), 750, 0)
	// A linear sweep 1000→3000 in 2 s has the mean rate of 2000 RPM; the
	// trapezoid rule is exact for it.
	var cycles float64
	const steps = 200
	for i := range steps {
		a, b := 1000+2000*float64(i)/steps, 1000+2000*float64(i+1)/steps
		cycles += (four.CycleHz(a) + four.CycleHz(b)) / 2 * 2 / steps
	}
	near(t, "sweep 1000→3000 in 2 s", cycles, 33.3333, 1e-4)
}

func TestValidate(t *testing.T) {
	for _, l := range []crank.Layout{single, twin360, vTwin315, triple, four, ten, crossBank, twoTwin180, {Cylinders: 16, Strokes: 2}} {
		if err := l.Validate(); err != nil {
			t.Errorf("%+v: %v", l, err)
		}
	}
	for _, l := range []crank.Layout{
		{}, {Cylinders: 4, Strokes: 3}, {Cylinders: 0, Strokes: 4}, {Cylinders: 17, Strokes: 4}, {Cylinders: -1, Strokes: 2},
		{Cylinders: 2, Strokes: 4, Firing: []float64{0}},
		{Cylinders: 2, Strokes: 4, Firing: []float64{0, 720}},
		{Cylinders: 2, Strokes: 2, Firing: []float64{0, 360}},
		{Cylinders: 2, Strokes: 4, Firing: []float64{-1, 180}},
		{Cylinders: 2, Strokes: 4, Firing: []float64{180, 0}},
		{Cylinders: 1, Strokes: 4, Firing: []float64{math.NaN()}},
		{Cylinders: 1, Strokes: 4, Firing: []float64{}},
	} {
		if err := l.Validate(); err == nil {
			t.Errorf("%+v passed", l)
		}
	}
}

func TestAnglesAreACopy(t *testing.T) {
	l := crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}
	l.Angles()[1] = 5
	if l.Firing[1] != 315 {
		t.Error("Angles gave away the layout's own slice")
	}
	for i, want := range []float64{0, 240, 480} {
		near(t, "triple", triple.Angles()[i], want, 1e-12)
	}
}

func TestTrackTimes(t *testing.T) {
	tr := crank.Track{StartS: 0.5, HopS: 0.25, RPM: make([]float64, 3)}
	if tr.Len() != 3 {
		t.Errorf("Len %d", tr.Len())
	}
	near(t, "TimeS(2)", tr.TimeS(2), 1, 0)
}
