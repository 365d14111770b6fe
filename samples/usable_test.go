package samples

import (
	"math"
	"testing"
)

func TestUnusableSamplesAreFoundAndScrubbed(t *testing.T) {
	bad := []float64{math.NaN(), -math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64,
		math.Nextafter(MaxMagnitude, math.Inf(1)), -math.Nextafter(MaxMagnitude, math.Inf(1))}
	good := []float64{0, math.Copysign(0, -1), 1, -1, MaxMagnitude, -MaxMagnitude, math.SmallestNonzeroFloat64}
	for _, v := range bad {
		x := append(append([]float64{}, good...), v, 0.5, v)
		if Usable(v) {
			t.Errorf("Usable(%g) = true", v)
		}
		if i := FirstUnusable(x); i != len(good) {
			t.Errorf("FirstUnusable with %g: %d, want %d", v, i, len(good))
		}
		dst := make([]float64, len(x)+1)
		dst[len(x)] = 7
		if n := Scrub(dst, x); n != 2 || dst[len(good)] != 0 || dst[len(good)+1] != 0.5 || dst[len(x)] != 7 {
			t.Errorf("Scrub with %g: count %d, %v", v, n, dst)
		}
	}
	if i := FirstUnusable(good); i != -1 {
		t.Errorf("FirstUnusable(good) = %d", i)
	}
}
