package fidelity

import (
	"math"
	"testing"
)

func TestAnchorsFollowTheRequest(t *testing.T) {
	src := sourcesOf(t, 1, 2000, 4000)
	loop, err := FrozenLoop(src[1], Hold(4200), 3)
	if err != nil {
		t.Fatal(err)
	}
	r := OrderError(FromRender(loop, Hold(4200), sled))
	t.Logf("frozen loop: p95 %.3f cents", r.P95Cents)
	below(t, "frozen loop p95", r.P95Cents, 0.1)

	revs := Sweep(1800, 5000, 6)
	plain, err := PlainResample(src, revs, 6)
	if err != nil {
		t.Fatal(err)
	}
	r = OrderError(FromRender(plain, revs, sled))
	t.Logf("plain resample: median %.2f, p95 %.2f cents", r.MedianCents, r.P95Cents)
	below(t, "plain resample median", r.MedianCents, 3)

	again, _ := PlainResample(src, revs, 6)
	for i, v := range plain.Chans[0] {
		if again.Chans[0][i] != v {
			t.Fatal("plain resample is not deterministic")
		}
	}
	for _, s := range []*Take{nil, src[0].part(0, 10), src[0].part(0, 0)} {
		if _, err := FrozenLoop(s, Hold(3000), 1); err == nil {
			t.Error("a frozen loop out of nothing")
		}
		if _, err := PlainResample([]*Take{s}, Hold(3000), 1); err == nil {
			t.Error("a resampled note out of nothing")
		}
	}
}

// Reading a sine at a fractional step must give the sine of the new pitch.
func TestReadAt(t *testing.T) {
	x := make([]float64, 4000)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 0.1 * float64(i))
	}
	for _, step := range []float64{0.7, 1, 1.3, 2.5} {
		var worst float64
		for i := range 1000 {
			p := 200 + float64(i)*step
			worst = math.Max(worst, math.Abs(readAt(x, p, step)-math.Sin(2*math.Pi*0.1*p)))
		}
		below(t, "error of a sine", worst, 2e-4)
	}
	// Above the new Nyquist little may be left: 0.4 of the rate read at 2.5.
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 0.4 * float64(i))
	}
	for i := range 1000 {
		below(t, "alias", math.Abs(readAt(x, 200+2.5*float64(i), 2.5)), 1e-3)
	}
}
