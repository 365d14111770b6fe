package fidelity

import (
	"math"
	"math/cmplx"

	"tachbench/samples/crank"
)

const (
	slopeS       = 0.075 // length over which the phase slope is fitted, seconds
	instantS     = 0.010 // spacing of the reported deviations, seconds
	strongOrder  = 0.6   // share of an order at the source that counts as strong
	strongOrders = 6     // how many strong orders are followed
)

// OrderResult is the deviation of a note's order frequencies from the
// request.
type OrderResult struct {
	MedianCents    float64 // median of |cents|
	P95Cents       float64 // 95th percentile of |cents|
	MeanCents      float64 // signed mean: sharp is positive
	MaxDriftCycles float64 // largest |rendered cycles − requested cycles|, start offset removed
	Orders         []float64
	TimeS, Cents   []float64 // the instants behind the figures
}

// OrderError measures how far the firing orders of t lie from its phase.
// For every strong order of the layout (see StrongOrders) the sound is
// demodulated with the integrated request, averaged over whole cycles in the
// crank-angle domain, and the slope of the remaining phase θ_k against the
// requested cycles is fitted by least squares over 75 ms (at least half a
// cycle). The relative deviation is
//
//	δ = Σ P_k·(dθ_k/dφ)/(2πk) / Σ P_k
//
// with P_k the power of harmonic k in that stretch: power, because the slope
// error of a line grows as one over its amplitude. Cents are
// 1200·log2(1+δ), one value each 10 ms. The drift is the integral of δ over
// the requested cycles. A delay τ between crank and sound, as every
// resonance brings, is a phase of τ·f_cyc: on a sweep it shows as drift (an
// engine with an exhaust of 10 ms from 25 to 133 Hz: up to 0.4 cycle). It is
// left in, since the request says where the crank is. Figures are NaN if the take has fewer than four
// cycles or is silent. Method: engine reference section 4, rows i and i-b.
func OrderError(t *Take) OrderResult {
	nan := math.NaN()
	r := OrderResult{MedianCents: nan, P95Cents: nan, MeanCents: nan, MaxDriftCycles: nan}
	if !t.usable(4) {
		return r
	}
	r.Orders = StrongOrders(t.Layout)
	var ks []int
	for _, o := range r.Orders {
		ks = append(ks, int(math.Round(o*t.Layout.RevsPerCycle())))
	}
	l := demodulate(t, ks)
	n := len(l.timeS)
	if n < blocksPerCycle {
		return r
	}
	fits := make([]lineFit, len(ks))
	for i := range ks {
		fits[i] = newLineFit(l.z[i])
	}
	var abs []float64
	var drift, sum float64
	nextS := math.Inf(-1)
	for j := 0; j < n; j++ {
		w := fitBlocks(l.timeS, j)
		from, to := j-w/2, j-w/2+w
		if from < 0 || to > n {
			continue
		}
		var num, den float64
		for i, k := range ks {
			slope, power := fits[i].slope(from, to)
			num += power * slope * blocksPerCycle / (2 * math.Pi * float64(k))
			den += power
		}
		if den <= 0 || math.IsNaN(num) {
			continue
		}
		dev := num / den
		drift += dev / blocksPerCycle
		if !(math.Abs(drift) <= r.MaxDriftCycles) {
			r.MaxDriftCycles = math.Abs(drift)
		}
		if l.timeS[j] < nextS {
			continue
		}
		nextS = l.timeS[j] + instantS
		// A deviation of -1 would mean a line that stands still; cents end
		// there.
		c := Cents(math.Max(1+dev, 1e-3))
		r.TimeS, r.Cents = append(r.TimeS, l.timeS[j]), append(r.Cents, c)
		abs = append(abs, math.Abs(c))
		sum += c
	}
	if len(abs) > 0 {
		r.MedianCents, r.P95Cents = quantile(abs, 0.5), quantile(abs, 0.95)
		r.MeanCents = sum / float64(len(abs))
	}
	return r
}

// StrongOrders returns the lowest six orders of a layout that equal pulses
// at its firing angles leave at 0.6 or more, ascending.
func StrongOrders(l crank.Layout) []float64 {
	var out []float64
	for k := 1; len(out) < strongOrders && k <= 64*l.Cylinders; k++ {
		o := float64(k) / l.RevsPerCycle()
		if l.OrderAmplitude(o) >= strongOrder {
			out = append(out, o)
		}
	}
	return out
}

// fitBlocks returns how many points around j make slopeS.
func fitBlocks(timeS []float64, j int) int {
	a, b := max(0, j-4), min(len(timeS)-1, j+4)
	step := (timeS[b] - timeS[a]) / float64(b-a)
	return max(blocksPerCycle/2, int(math.Round(slopeS/step)))
}

// lineFit holds running sums over the unwrapped phase of one line.
type lineFit struct{ y, iy, p []float64 }

func newLineFit(z []complex128) lineFit {
	f := lineFit{make([]float64, len(z)+1), make([]float64, len(z)+1), make([]float64, len(z)+1)}
	var theta float64
	for i, v := range z {
		if i > 0 {
			theta += cmplx.Phase(v * cmplx.Conj(z[i-1]))
		}
		f.y[i+1] = f.y[i] + theta
		f.iy[i+1] = f.iy[i] + float64(i)*theta
		f.p[i+1] = f.p[i] + real(v)*real(v) + imag(v)*imag(v)
	}
	return f
}

// slope returns the least-squares slope of the phase per point over
// from..to and the summed power there.
func (f lineFit) slope(from, to int) (slope, power float64) {
	n := float64(to - from)
	mid := float64(from) + (n-1)/2
	sxy := (f.iy[to] - f.iy[from]) - mid*(f.y[to]-f.y[from])
	return sxy / (n * (n*n - 1) / 12), f.p[to] - f.p[from]
}
