package note

import (
	"math"
	"testing"
)

// Engine reference, section 8, rows 21 to 23: a fade with equal gains loses
// 3.0103 dB in the middle of uncorrelated parts, one with equal powers gains
// as much on equal parts; the gain that knows the correlation is 1/√(2(1+ρ)).
func TestJoinGainsKnowTheCorrelation(t *testing.T) {
	for _, k := range []struct{ rho, want float64 }{{0.5, 0.57735}, {1, 0.5}, {0, math.Sqrt(0.5)}} {
		out, in := joinGains(0.5, k.rho)
		if math.Abs(out-k.want) > 1e-5 || math.Abs(in-k.want) > 1e-5 {
			t.Errorf("rho %g: gains %.5f, %.5f, want %.5f", k.rho, out, in, k.want)
		}
	}
}

// Law: the power of the sum stays 1 all through the overlap, whatever the
// correlation, and it starts and ends with one part alone.
func TestJoinGainsHoldThePower(t *testing.T) {
	for rho := 0.0; rho <= 1; rho += 0.125 {
		for x := 0.0; x <= 1; x += 1.0 / 64 {
			a, b := joinGains(x, rho)
			if p := a*a + b*b + 2*rho*a*b; math.Abs(p-1) > 1e-12 {
				t.Fatalf("rho %g, x %g: power %g", rho, x, p)
			}
		}
		if a, b := joinGains(0, rho); a != 1 || b != 0 {
			t.Errorf("rho %g begins with %g, %g", rho, a, b)
		}
		if a, b := joinGains(1, rho); math.Abs(a) > 1e-12 || math.Abs(b-1) > 1e-12 {
			t.Errorf("rho %g ends with %g, %g", rho, a, b)
		}
	}
}

// A recorded grain read faster or slower than the limit is re-spaced; both
// together always make up the request.
func TestReadStepLimits(t *testing.T) {
	for _, k := range []struct{ ratio, want float64 }{
		{1, 1}, {1.05, 1.05}, {0.95, 0.95},
		{1.1, 1.06}, {0.9, 0.94}, // the rest by re-spacing
		{1.4, 1.25}, {0.7, 0.784}, // re-spacing at its limit
	} {
		if got := readStep(k.ratio); math.Abs(got-k.want) > 1e-9 {
			t.Errorf("ratio %g is read at %g, want %g", k.ratio, got, k.want)
		}
	}
}

// The interpolator against the ideal: a sine read at fractional positions.
func TestInterpolatorIsClean(t *testing.T) {
	for _, k := range []struct{ hz, floorDB float64 }{{200, -78}, {1000, -78}, {5000, -74}, {10000, -70}, {15000, -60}} {
		src := make([]float64, 4096)
		w := 2 * math.Pi * k.hz / 48000
		for i := range src {
			src[i] = math.Sin(w * float64(i))
		}
		for _, step := range []float64{1, 0.9437, 1.0591} {
			out := make([]float64, 3000)
			pos := 20.3
			readInto(out, src, pos, step, 1, 0)
			var err float64
			for i, v := range out {
				d := v - math.Sin(w*(pos+step*float64(i)))
				err += d * d
			}
			if db := 10*math.Log10(err/float64(len(out))) + 3.01; db > k.floorDB {
				t.Errorf("%g Hz at step %g: error %.1f dB under the tone, want %.0f", k.hz, step, db, k.floorDB)
			}
		}
	}
}
